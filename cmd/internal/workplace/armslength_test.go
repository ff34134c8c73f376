package workplace_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"listbound/cmd/internal/browsertest"
	"listbound/events"
)

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
	if (head > 0.56 * innerHeight) wrong.push("the head takes " + Math.round(head) + " of " + innerHeight);
	const wide = document.documentElement.scrollWidth - innerWidth;
	if (wide > 0) wrong.push("the page is " + wide + " too wide");
	return wrong;
})`

// TestArmsLength: on every page of a station the verdict with its word, the name of
// the set (the load, the case), the stage and the line asked for are read from 70 cm
// and stay in view, whatever is scrolled: on the tablet, the phone, at 200 % zoom
// and on a desk, in both languages, with a list of 60 lines.
func TestArmsLength(t *testing.T) {
	h := newHouse(t)
	h.open("LAP-014", "K-1")
	h.open("VAS-003", "K-1")
	p := browser(t).Tab(t, tablet)
	open := func(path string) { p.Open(h.url + path); p.Await(`document.querySelector(".stick #verdict .tells")`) }
	open("/at/north/or-3/packing?set=LAP-014")
	open("/at/north/or-3/sealing?set=LAP-022")
	open("/at/north/or-3/storage?set=LAP-022")
	// The twin's sheet: a STOP, with what to do with one's hands.
	open("/at/north/or-3/opening?set=LAP-022")
	p.Type(label(t, events.ScanSet, "LAP-022") + "\r" + h.codes["LAP-014"] + "\r")
	p.AwaitText("#verdict", "sheet of LAP-014")
	open("/at/north/or-3/sterilizer")
	browsertest.Eval[bool](p, `(document.querySelector("#sterilizer").value = "S1", document.querySelector("#run").value = "2",
		document.querySelector("#cycle").value = "dynamic-air-132", document.querySelector("[data-do=begin]").requestSubmit(), true)`)
	p.AwaitText("#verdict", "Scan sets into S1-0304-02")

	pages := []struct{ path, name string }{
		{"packing", "LAP-014"}, {"sealing", "LAP-022"}, {"storage", "LAP-022"}, {"opening", "LAP-022"},
		{"sterilizer", "S1-0304-02"}, {"close?case=K-1", "K-1"}, {"count?case=K-1", "LAP-014"},
	}
	desk := browsertest.Size{Name: "desk", Width: 1440, Height: 900}
	zoom := browsertest.Size{Name: "zoom", Width: 512, Height: 384}
	measured := 0
	for _, size := range []browsertest.Size{tablet, phone, zoom, desk} {
		p.Do(chromedp.EmulateViewport(size.Width, size.Height))
		for _, lang := range []string{"en", "de"} {
			for _, page := range pages {
				join := "?"
				if strings.Contains(page.path, "?") {
					join = "&"
				}
				open("/at/north/or-3/" + page.path + join + "lang=" + lang)
				counting := strings.HasPrefix(page.path, "count")
				if counting {
					p.Await(`(() => { const now = document.querySelector("tr.now")?.getBoundingClientRect();
						return now && now.top >= document.querySelector(".stick").getBoundingClientRect().bottom - 2 &&
							now.top + 20 <= document.querySelector(".bar").getBoundingClientRect().top; })()`)
				}
				place, _, _ := strings.Cut(page.path, "?")
				for _, end := range []bool{false, true} {
					if end {
						browsertest.Eval[bool](p, `(scrollTo(0, document.documentElement.scrollHeight), true)`)
					}
					want := map[bool]string{true: "true", false: "false"}
					wrong := browsertest.Eval[[]string](p, armsLength+`({name: "`+page.name+`", counting: `+want[counting]+
						`, row: `+want[!end]+`})`)
					for _, w := range wrong {
						t.Errorf("%s, %s, %s, scrolled to the end %t: %s", place, size.Name, lang, end, w)
					}
					measured++
					name := "arm-" + place + "-" + size.Name + "-" + lang
					if end {
						name += "-end"
					}
					p.View(name)
				}
			}
		}
	}
	if measured != 4*2*2*len(pages) {
		t.Fatalf("%d pages were measured", measured)
	}
}
