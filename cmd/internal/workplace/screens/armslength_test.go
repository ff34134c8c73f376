//go:build !race

package screens_test

// armsLength measures what is read at arm's length, and returns what is wrong with
// it. 24 CSS pixels is what the people who use the pages asked for, at 70 cm.
const armsLength = `(want => {
	const wrong = [], bottom = document.querySelector(".bar")?.getBoundingClientRect().top ?? innerHeight;
	const look = (name, el) => {
		if (!el || el.textContent.trim() === "") return wrong.push(name + " is not there");
		const box = el.getBoundingClientRect(), size = parseFloat(getComputedStyle(el).fontSize);
		if (size < 24) wrong.push(name + " is " + size + " px");
		const x = box.left + Math.min(box.width, 60) / 2, y = box.top + Math.min(box.height, 30) / 2;
		if (box.top < 0 || box.left < 0 || box.right > innerWidth + 1 || y > bottom) {
			return wrong.push(name + " is out of view at " + Math.round(box.top));
		}
		const top = document.elementFromPoint(x, y);
		if (!top || !(el.contains(top) || top.contains(el))) wrong.push(name + " is covered by " + top?.outerHTML.slice(0, 60));
	};
	const tells = document.querySelector("#verdict .verdict .tells:not(.answer)");
	look("the verdict", tells);
	look("the word", tells?.querySelector(".sign"));
	const answer = document.querySelector("#verdict:has(.hands) .choices .main");
	if (answer) {
		const box = answer.getBoundingClientRect(), room = document.getElementById("verdict").getBoundingClientRect();
		if (box.bottom > Math.min(room.bottom, bottom)) wrong.push("the answer to STOP ends at " + box.bottom + " of " + room.bottom);
	}
	look("the stage", document.querySelector(".stick h1"));
	const names = [...document.querySelectorAll("#verdict .of, #verdict .tells, #now-set, .stick h1")];
	const named = names.filter(el => el.textContent.includes(want.name));
	look("the name " + want.name, named[0]);
	if (want.counting) {
		for (const id of ["now-set", "now-line", "now-what", "now-expected", "now-counted"]) look(id, document.getElementById(id));
		for (const el of document.querySelectorAll("#tools button")) {
			if (!el.checkVisibility()) continue;
			const box = el.getBoundingClientRect(), what = el.textContent.trim();
			if (box.top < 0 || box.bottom > innerHeight || box.right > innerWidth) wrong.push("the key " + what + " is out of reach");
			if (box.height < 44) wrong.push("the key " + what + " is " + box.height + " px high");
		}
		const now = document.querySelector("tr.now")?.getBoundingClientRect();
		const head = document.querySelector(".stick").getBoundingClientRect().bottom;
		if (want.row && now && (now.top < head - 2 || now.top + 20 > bottom)) {
			wrong.push("the line counted is out of view: " + [now.top, now.bottom, head, bottom].map(Math.round));
		}
	}
	const head = document.querySelector(".stick").getBoundingClientRect().height;
	// Under a STOP nothing else is to be done, and its answers are in the head.
	if (head > (answer ? 0.78 : 0.56) * innerHeight) wrong.push("the head takes " + Math.round(head) + " of " + innerHeight);
	const wide = document.documentElement.scrollWidth - innerWidth;
	if (wide > 0) wrong.push("the page is " + wide + " too wide");
	return wrong;
})`
