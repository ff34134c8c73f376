package browsertest_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
)

// TestClickOnWhatIsReplaced: a page that makes its button anew all the time, as the
// stations' pages do when something comes in, is clicked once for each Click.
func TestClickOnWhatIsReplaced(t *testing.T) {
	p := browsertest.Start(t).Tab(t, browsertest.Sizes()[0])
	p.Open(`data:text/html,<main><p id="was"><button>Record</button></p></main><script>
		let clicks = 0, down = false; // a button that goes while it is pressed is not clicked in any browser
		addEventListener("mousedown", () => { down = true });
		addEventListener("mouseup", () => { down = false });
		document.addEventListener("click", e => { if (e.target.tagName === "BUTTON") clicks++ });
		setInterval(() => { if (!down) document.querySelector("p").innerHTML = "<button>Record</button>" }, 2);
	</script>`)
	const times = 30
	for range times {
		p.Click("button")
	}
	if got := browsertest.Eval[int](p, "clicks"); got != times {
		t.Errorf("%d clicks arrived of %d", got, times)
	}
}

// TestActThatLeavesThePage: an act that takes its own page away has been done, whenever
// the browser forgets its answer, and a question is asked of the page that comes.
func TestActThatLeavesThePage(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprintf(w, "<main>page %s</main>", r.URL.Path)
	}))
	defer srv.Close()
	p := browsertest.Start(t).Tab(t, browsertest.Sizes()[0])
	p.Open(srv.URL + "/0")
	for n := range 40 {
		p.Open(srv.URL + "/x")
		browsertest.Eval[bool](p, "(history.back(), true)")
		browsertest.Eval[bool](p, fmt.Sprintf(`(location.href = "/%d", true)`, n+1))
		p.Await(fmt.Sprintf(`document.querySelector("main").textContent === "page /%d"`, n+1))
		// A question while the page goes away is answered by whichever is there.
		browsertest.Eval[bool](p, `(location.reload(), true)`)
		got := browsertest.Eval[string](p, `new Promise(done => setTimeout(() => done(location.pathname), 20))`)
		if got != fmt.Sprintf("/%d", n+1) {
			t.Fatalf("asked while the page was loaded again: %q", got)
		}
	}
}

// TestAxeLooksAtAll: what axe finds on a page it finds in whichever of its rows it is, though it looks at three only of those
// that look alike.
func TestAxeLooksAtAll(t *testing.T) {
	tab := browsertest.Start(t).Tab(t, browsertest.Sizes()[0])
	const rows = 60
	const whole = `<td><b>whole</b></td>`
	page := func(odd int, cell, rest string) string {
		var b strings.Builder
		b.WriteString(`data:text/html;charset=utf-8,<!DOCTYPE html><html lang="en"><title>Rows</title>
			<meta name="viewport" content="width=device-width">
			<style>td { color: rgb(0,0,0); background: rgb(255,255,255) } .pale { color: rgb(200,200,200) }
			.late { opacity: 0.3 } .on { position: relative } .off { visibility: hidden }
			.under { position: absolute; inset: 0; background: rgb(255,255,255) } .grey { background: rgb(90,90,90) }
			.sign::before { content: ""; position: absolute; width: 9em; height: 2em; background: rgb(0,0,0) }</style>
			<main><h1>Rows</h1><table><tbody>`)
		for n := range rows {
			own := rest
			if n == odd {
				own = cell
			}
			fmt.Fprintf(&b, "<tr><th scope=row>Set %d</th>%s</tr>", n, strings.ReplaceAll(own, "ID", fmt.Sprintf("set%d", n)))
		}
		return b.String() + "</tbody></table></main></html>"
	}
	for name, c := range map[string]struct {
		cell, rest string
		finds      int
	}{
		"all alike":                  {whole, whole, 0},
		"a pale cell":                {`<td class="pale"><b>whole</b></td>`, whole, 1},
		"a pale word":                {`<td><b class="pale">whole</b></td>`, whole, 1},
		"what is around is grey":     {`<td style="background: rgb(90,90,90)"><b>whole</b></td>`, whole, 1},
		"what is around shines away": {`<td class="late"><b>whole</b></td>`, whole, 1},
		"a button without a name":    {`<td><button></button></td>`, whole, 1},
		"ink that isn't the colour":  {`<td style="-webkit-text-fill-color: rgb(200,200,200)">whole</td>`, `<td>whole</td>`, 1},
		"in a tree of its own": {`<td><div><template shadowrootmode="open">` +
			`<b style="color: rgb(200,200,200)">whole</b></template></div></td>`, whole, 1},
		// Of these axe passes over the rest, or can't tell.
		"a pale word among empty cells":  {`<td class="pale">whole</td>`, `<td class="pale"></td>`, 1},
		"a pale word among single signs": {`<td class="pale">whole</td>`, `<td class="pale">w</td>`, 1},
		"a pale word among pictures":     {`<td class="pale">whole</td>`, `<td class="pale">😀</td>`, 1},
		"a pale word among hidden ones":  {`<td><b class="pale">whole</b></td>`, `<td><b class="pale" hidden>whole</b></td>`, 1},
		"a pale word among unseen ones":  {`<td><b class="pale">whole</b></td>`, `<td><b class="pale off">whole</b></td>`, 1},
		"a pale button among ended ones": {`<td><button class="pale">whole</button></td>`,
			`<td><button class="pale" disabled>whole</button></td>`, 1},
		"a pale label among ended fields": {`<td><label class="pale">whole<input></label></td>`,
			`<td><label class="pale">whole<input disabled></label></td>`, 1},
		"a pale name among ended fields": {`<td><b class="pale" id="odd">whole</b><input aria-labelledby="odd"></td>`,
			`<td><b class="pale" id="ID">whole</b><input disabled aria-labelledby="ID"></td>`, 1},
		"a pale word among decked ones": {`<td class="pale">whole</td>`, `<td class="pale sign">whole</td>`, 1},
		"over something dark": {`<td class="on"><i class="under grey"></i><b class="on">whole</b></td>`,
			`<td class="on"><i class="under"></i><b class="on">whole</b></td>`, 1},
	} {
		tab.Open(page(rows/2+3, c.cell, c.rest))
		if found := tab.AxeFinds(); len(found) != c.finds {
			t.Errorf("%s: axe finds %d things, not %d: %q", name, len(found), c.finds, found)
		}
	}
}
