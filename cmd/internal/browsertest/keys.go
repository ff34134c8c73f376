package browsertest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// Type types like a keyboard wedge: one key after the other, a millisecond apart by
// their own time, wherever the focus is and however long they take to come through. \r
// is Enter.
func (p *Tab) Type(keys string) {
	p.t.Helper()
	at := time.Now()
	p.Do(chromedp.KeyEvent(keys, func(k *input.DispatchKeyEventParams) {
		if k.Type == kb.KeyDown || k.Type == kb.KeyRawDown {
			at = at.Add(time.Millisecond)
		}
		k.Timestamp = input.TimeSinceEpoch(float64(at.UnixMicro()) / 1e6)
	}))
}

// Press types as a person does, a moment after what was typed before. A function key stands for a button, which does
// nothing before the page's scripts have run: a person would press it again.
func (p *Tab) Press(keys string) {
	p.t.Helper()
	if strings.ContainsFunc(keys, func(r rune) bool { return r >= []rune(kb.F1)[0] && r <= []rune(kb.F12)[0] }) {
		p.Await(loaded)
	}
	const moment = 150 // milliseconds; a scanner's keys are closer together
	Eval[bool](p, fmt.Sprintf(`new Promise(done => setTimeout(() => done(true), %d))`, moment))
	p.Type(keys)
}

// Hold holds a key down until it has repeated so often.
func (p *Tab) Hold(key string, repeats int) {
	p.t.Helper()
	again := func(k *input.DispatchKeyEventParams) {
		k.AutoRepeat = new(k.Type == kb.KeyDown || k.Type == kb.KeyRawDown)
	}
	p.Do(chromedp.KeyEvent(key))
	for range repeats {
		p.Do(chromedp.KeyEvent(key, again))
	}
}

// Touch clicks an element from within the page, as a finger does, without a
// pointer that moves there.
func (p *Tab) Touch(selector string) {
	p.t.Helper()
	Eval[bool](p, fmt.Sprintf(`(document.querySelector(%s).click(), true)`, strconv.Quote(selector)))
}

// Tap presses a pointer in the middle of an element, and once more at the same place so
// many milliseconds later, whatever stands there by then.
func (p *Tab) Tap(selector string, again int) {
	p.t.Helper()
	at := p.middle(selector)
	p.Do(chromedp.MouseClickXY(at[0], at[1]))
	Eval[bool](p, fmt.Sprintf(`new Promise(done => setTimeout(() => done(true), %d))`, again))
	p.Do(chromedp.MouseClickXY(at[0], at[1]))
}

// middle scrolls to an element and returns where its middle is.
func (p *Tab) middle(selector string) []float64 {
	p.t.Helper()
	return Eval[[]float64](p, fmt.Sprintf(`(() => {
		const el = document.querySelector(%s);
		el.scrollIntoView({block: "center", behavior: "instant"});
		const r = el.getClientRects()[0]; // a link may go over two lines
		return [r.left + r.width / 2, r.top + r.height / 2];
	})()`, strconv.Quote(selector)))
}

// Upload has a field take files, as a person who chooses them.
func (p *Tab) Upload(selector string, files ...string) {
	p.t.Helper()
	p.Do(func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		field, err := cdp.Call(ctx, t, runtime.Evaluate,
			runtime.EvaluateParams{Expression: fmt.Sprintf(`document.querySelector(%s)`, strconv.Quote(selector))})
		if err == nil {
			_, err = cdp.Call(ctx, t, dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: files, ObjectID: field.Result.ObjectID})
		}
		return none, err
	})
}

// Before runs a script in each page of the tab before the page's own.
func (p *Tab) Before(script string) {
	p.t.Helper()
	p.Do(func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument,
			page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return none, err
	})
}

// Reload loads the page again.
func (p *Tab) Reload() {
	p.t.Helper()
	p.Do(chromedp.Reload())
}

// Await waits until an expression is true, also while the page is being
// replaced by another and in a tab that is not in front.
func (p *Tab) Await(js string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	const asksFor = 30 * time.Second
	ask := fmt.Sprintf(`new Promise(done => {
		const look = () => {
			let is = false;
			try { is = Boolean(%s) } catch {}
			if (is) done(true); else setTimeout(look, 5)
		};
		look();
		setTimeout(() => done(false), %d)
	})`, js, asksFor.Milliseconds())
	for {
		is, err := chromedp.Run(ctx, chromedp.Evaluate[bool](ask, func(e *runtime.EvaluateParams) { e.AwaitPromise = new(true) }))
		switch {
		case is:
			return
		case err == nil || ctx.Err() != nil:
			p.t.Fatalf("in the browser: %s did not come true; %s says: %.1500s", js, p.Address(), p.Text("main"))
		}
	}
}

// AwaitText waits until an element's text contains a part.
func (p *Tab) AwaitText(selector, part string) {
	p.t.Helper()
	p.Await(fmt.Sprintf(`document.querySelector(%s).textContent.includes(%s)`, strconv.Quote(selector), strconv.Quote(part)))
}

// Text returns what an element shows, "" where there is no such element.
func (p *Tab) Text(selector string) string {
	p.t.Helper()
	return Eval[string](p, fmt.Sprintf(`document.querySelector(%s)?.innerText ?? ""`, strconv.Quote(selector)))
}

// View saves a picture of what is in view, as Shot does of the whole page.
func (p *Tab) View(name string) {
	p.t.Helper()
	dir := os.Getenv("LISTBOUND_SHOTS")
	if dir == "" {
		return
	}
	ctx, end := context.WithTimeout(p.ctx, patience)
	defer end()
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
	}
	if err != nil {
		p.t.Errorf("screenshot %s: %v", name, err)
	}
}
