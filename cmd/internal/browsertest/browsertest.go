// Package browsertest drives a real headless Chromium for the tests of pages.
// It is used by tests only. Without the browser a test fails and names the
// Debian package: a page that nobody looked at must not pass for one that was.
package browsertest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/css"
	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Size is a window's, in CSS pixels.
type Size struct {
	Name          string
	Width, Height int64
}

// Sizes are a wall screen's or a desk's, an old workplace's, and a phone's.
func Sizes() []Size {
	return []Size{{"desk", 1920, 1080}, {"old", 1024, 768}, {"phone", 390, 844}}
}

// patience bounds one step of a test. A page that needs longer has failed.
const patience = 60 * time.Second

// Browser is a running Chromium.
type Browser struct{ ctx context.Context } // of the browser: chromedp keeps it there

// Frames goes to Start where a test needs the frames that a page shows (requestAnimationFrame): without the thread that puts
// pictures together there are none.
const Frames = "-disable-threaded-compositing"

// Start starts a Chromium that ends with the test, with flags of its own: "name", or "name=value"; "-name" leaves one out.
func Start(t testing.TB, flags ...string) *Browser {
	t.Helper()
	b, stop := Launch(t, flags...)
	t.Cleanup(stop)
	return b
}

// Launch starts a Chromium that outlives the test, for all tests of a package to
// share. Whoever launches it calls stop.
func Launch(t testing.TB, flags ...string) (b *Browser, stop func()) {
	t.Helper()
	path := ""
	// The shell is the same engine without the window around it, which nobody sees here and which took more CPU than
	// the pages and the server together.
	for _, name := range []string{"chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Fatal("no Chromium here: install the Debian package chromium-headless-shell (apt-get install chromium-headless-shell)")
	}
	dir, err := os.MkdirTemp("", "browsertest-")
	if err != nil {
		t.Fatal(err)
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(dir))
	for _, f := range []string{
		// Nobody sees the pictures: handing each from the thread that draws it to one that puts it together took 40 % of
		// the browser's CPU.
		"disable-threaded-compositing",
		"no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking",
		"disable-component-update", "disable-sync",
	} {
		opts = append(opts, chromedp.Flag(f, true))
	}
	if os.Getenv("LISTBOUND_SHOTS") != "" {
		flags = append(flags, Frames) // a screenshot is one
	}
	// Names that are no loopback, so that a browser trusts plain http to them as little
	// as to any other machine.
	opts = append(opts, chromedp.Flag("host-resolver-rules", "MAP *.test 127.0.0.1"))
	for _, f := range flags {
		if name, ok := strings.CutPrefix(f, "-"); ok {
			opts = append(opts, chromedp.Flag(name, false))
		} else if name, value, ok := strings.Cut(f, "="); ok {
			opts = append(opts, chromedp.Flag(name, value))
		} else {
			opts = append(opts, chromedp.Flag(name, true))
		}
	}
	actx, endAllocator := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, endBrowser := chromedp.NewContext(actx)
	stop = func() {
		endBrowser()
		endAllocator()
		os.RemoveAll(dir) // what a dying browser still writes is the system's to clear away
	}
	if err := chromedp.Do(ctx); err != nil {
		stop()
		t.Fatalf("starting Chromium: %v", err)
	}
	return &Browser{ctx: ctx}, stop
}

// Profile returns the same Chromium with cookies and storage of its own, which
// end with the test.
func (b *Browser) Profile(t testing.TB) *Browser {
	t.Helper()
	ctx, end := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext())
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("a new profile in Chromium: %v", err)
	}
	return &Browser{ctx: ctx}
}

// Tab is one open page.
type Tab struct {
	ctx context.Context
	t   testing.TB
}

// Tab opens an empty page of a size.
func (b *Browser) Tab(t testing.TB, s Size) *Tab {
	t.Helper()
	p, _ := b.TabToClose(t, s)
	return p
}

// leaveAlone has the browser not tell of each request, style sheet, change of the document and line of the log: nobody
// here listens, and to tell took a tenth of its CPU.
func leaveAlone(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
	for _, method := range []string{css.CommandDisable, dom.CommandDisable, network.CommandDisable, log.CommandDisable} {
		if err := t.Call(ctx, method, cdp.Empty{}, nil); err != nil {
			return none, err
		}
	}
	return none, nil
}

// TabToClose is a Tab that is closed before the test ends.
func (b *Browser) TabToClose(t testing.TB, s Size) (p *Tab, end func()) {
	t.Helper()
	ctx, end := chromedp.NewContext(b.ctx)
	t.Cleanup(end)
	// The first step opens the page; the page lives as long as that step's
	// context, so this one has no time limit.
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(s.Width, s.Height), leaveAlone); err != nil {
		t.Fatalf("opening a page in Chromium: %v", err)
	}
	return &Tab{ctx, t}, end
}

// Do takes steps; a step that fails ends the test.
func (p *Tab) Do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, end := context.WithTimeout(p.ctx, patience)
	defer end()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatalf("in the browser: %v", err)
	}
}

// Open goes to an address.
func (p *Tab) Open(url string) {
	p.t.Helper()
	p.Do(chromedp.Navigate(url))
}

// Click clicks what a selector finds first. Where a page replaces that element after
// it was found and before the pointer is there, its successor is clicked.
func (p *Tab) Click(selector string) {
	p.t.Helper()
	p.Await(loaded)
	p.Await(fmt.Sprintf(`document.querySelector(%s)?.getBoundingClientRect().width > 0`, strconv.Quote(selector)))
	at := p.middle(selector)
	p.Do(chromedp.MouseClickXY(at[0], at[1]))
}

// loaded is true when a page's scripts have run: a button does nothing before that,
// and a person would press it again.
const loaded = `document.readyState === "complete"`

// Eval returns the value of an expression in the page; it awaits a promise. An act is
// written (…, true): where it takes its own page away it has been done, and only its
// answer is lost. A question that a page was taken away under is asked of the next one.
func Eval[T any](p *Tab, expression string) T {
	p.t.Helper()
	ctx, end := context.WithTimeout(p.ctx, patience)
	defer end()
	for {
		v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, func(e *runtime.EvaluateParams) { e.AwaitPromise = new(true) }))
		switch done, act := any(true).(T); {
		case err == nil:
			return v
		case ctx.Err() != nil || !left(err):
			p.t.Fatalf("in the browser: %v", err)
		case act && strings.HasSuffix(expression, ", true)"):
			return done
		}
	}
}

// left reports whether an error says that a page was left while it was asked.
func left(err error) bool {
	var e *cdproto.Error
	return errors.As(err, &e) && e.Code == -32000 && strings.Contains(e.Message, "navigated or closed")
}

// Until waits for an expression to be true, asking the page again and again. It returns how long that took.
func (p *Tab) Until(expression string) time.Duration {
	p.t.Helper()
	begin := time.Now()
	const asksFor = 20000 // milliseconds
	ctx, end := context.WithTimeout(p.ctx, patience)
	defer end()
	wait := fmt.Sprintf(`new Promise(done => {
		const end = performance.now() + %d;
		const look = () => {
			if (%s) done(true);
			else if (performance.now() > end) done(false);
			else setTimeout(look, 10); // at each frame: it would have to draw one
		};
		look();
	})`, asksFor, expression)
	for {
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](wait, func(e *runtime.EvaluateParams) { e.AwaitPromise = new(true) }))
		switch {
		case ok:
			return time.Since(begin)
		case err != nil && ctx.Err() == nil && strings.Contains(err.Error(), "navigated"):
			continue // the page that was asked has gone; its successor is asked
		case err != nil:
			p.t.Fatalf("in the browser: %v", err)
		}
		p.t.Fatalf("in the browser: %s did not come true; the page says: %.600s", expression, Eval[string](p, "document.body.innerText"))
	}
}

// Address is where the page is now.
func (p *Tab) Address() string {
	p.t.Helper()
	return Eval[string](p, "location.pathname + location.search")
}

// alike marks the elements whose contrast axe looks at: of those that look the same, as do all around each of them, the first
// two and the last. To ask of a table's thousand rows the same thing a thousand times took half of axe's time.
// Beside the looks it tells apart what axe judges from what it passes over or calls uncertain: what isn't shown or is
// disabled, an empty cell, a single sign, an element drawn over another. Else an empty first and last row would stand for all.
const alike = `(() => {
	const looks = ["color", "background-color", "background-image", "opacity", "font-size", "font-weight", "text-shadow", "position",
		"display", "visibility", "clip-path", "overflow", "mix-blend-mode", "text-indent", "-webkit-text-fill-color",
		"-webkit-text-stroke-width", "-webkit-text-stroke-color"];
	const look = style => looks.map(l => style.getPropertyValue(l)).join(";");
	const pseudo = (el, which) => {
		const style = getComputedStyle(el, which);
		return style.content === "none" || style.content === "normal" ? "" : [look(style), style.width, style.height].join(";");
	};
	const labels = new Map(); // what names a field may be as pale as the field, while that is disabled
	for (const el of document.querySelectorAll("[aria-labelledby]")) {
		for (const id of el.getAttribute("aria-labelledby").split(/\s+/)) labels.set(id, el);
	}
	const off = el => !!el?.matches(":disabled, [aria-disabled=true], [inert]");
	const fields = "input, select, textarea, button";
	const says = el => {
		let text = el.matches(fields) ? el.nodeName + el.type + (el.value ?? "") + (el.placeholder ?? "") : "";
		for (const n of el.childNodes) if (n.nodeType === 3) text += n.data.trim();
		return text && [[...text].length > 1, /[\p{L}\p{N}]/u.test(text), el.matches(fields) && [el.nodeName, el.type, !!el.value]].join();
	};
	const kinds = new Map(), numbers = new Map();
	const short = kind => numbers.get(kind) ?? (numbers.set(kind, numbers.size), numbers.size - 1);
	const walk = (el, around) => {
		const style = getComputedStyle(el), box = el.getBoundingClientRect(), inside = [...el.shadowRoot?.children ?? [], ...el.children];
		// What is laid over or under its neighbours is around them, too.
		const laid = inside.map(c => getComputedStyle(c)).filter(s => s.position !== "static" || s.float !== "none").map(look).join("&");
		const kind = short([around, look(style), pseudo(el, "::before"), pseudo(el, "::after"), laid,
			off(el) || off(el.closest("label")?.control) || off(labels.get(el.id)), box.width > 1 && box.height > 1].join(">"));
		const own = kind + ">" + says(el);
		if (!kinds.has(own)) kinds.set(own, []);
		kinds.get(own).push(el);
		for (const c of inside) walk(c, kind);
	};
	walk(document.documentElement, "");
	for (const els of kinds.values()) for (const el of [els[0], els[1] ?? els[0], els.at(-1)]) el.setAttribute("data-looked-at", "");
	return [...kinds.values()].flat();
})()`

// Axe runs axe-core on the page and reports each violation.
func (p *Tab) Axe() {
	p.t.Helper()
	for _, violation := range p.AxeFinds() {
		p.t.Errorf("axe at %s: %s", p.Address(), violation)
	}
}

// AxeFinds returns the violations that axe-core finds on the page.
func (p *Tab) AxeFinds() []string {
	p.t.Helper()
	script, err := os.ReadFile(filepath.Join(Root(p.t), "testdata", "axe", "axe.min.js"))
	if err != nil {
		p.t.Fatal(err)
	}
	p.Await(`document.readyState === "complete"`) // else it can meet a page that is on its way
	// In one question, so that a page which loads itself anew is asked all of it.
	found := Eval[[]string](p, string(script)+`;(all => {
		axe.configure({rules: [{id: "color-contrast", selector: "[data-looked-at]"}]});
		return axe.run({resultTypes: ["violations"]}).then(r => {
			for (const el of all) el.removeAttribute("data-looked-at");
			return ["" + r.passes.length, ...r.violations.flatMap(v => v.nodes.map(n =>
				v.id + " (" + v.impact + "): " + n.html.slice(0, 200) + " " + (n.failureSummary || "").slice(0, 300)))];
		});
	})(`+alike+`)`)
	if passes, err := strconv.Atoi(found[0]); err != nil || passes < 5 {
		p.t.Errorf("axe at %s found only %s rules to pass: the page was not there", p.Address(), found[0])
	}
	return found[1:]
}

// Shot saves a picture of the whole page in the folder that LISTBOUND_SHOTS names,
// for a person to look at; without it nothing is saved.
func (p *Tab) Shot(name string) {
	p.t.Helper()
	dir := os.Getenv("LISTBOUND_SHOTS")
	if dir == "" {
		return
	}
	ctx, end := context.WithTimeout(p.ctx, patience)
	defer end()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, strings.ReplaceAll(name, "/", "_")+".png"), png, 0o644)
	}
	if err != nil {
		p.t.Errorf("screenshot %s: %v", name, err)
	}
}

// Root is the folder of the module.
func Root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test's folder")
		}
		dir = up
	}
}
