package door_test

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"listbound/cmd/internal/browsertest"
)

// TestFormAfterItsSignIn: a form that is sent after its sign-in was over is answered with what became of it, and how it is sent
// once more: nothing that was entered is lost.
func TestFormAfterItsSignIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.signedIn(t, "administers")
	srv := httptest.NewServer(h.all)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	profile := browsertest.Start(t).Profile(t)
	form, other := profile.Tab(t, browsertest.Sizes()[2]), profile.Tab(t, browsertest.Sizes()[2])
	signIn := func(tab *browsertest.Tab) {
		t.Helper()
		tab.Await(`document.querySelector("#login")`)
		browsertest.Eval[bool](tab, `(login.value = "administers", password.value = "`+password+`", login.form.requestSubmit(), true)`)
		tab.AwaitText("main", "People")
	}
	form.Open(srv.URL + "/people")
	signIn(form)
	other.Open(srv.URL + "/sign-in")
	browsertest.Eval[bool](other, `(document.querySelector("form[action='/sign-out']").requestSubmit(), true)`)
	other.Await(`document.querySelector("#login")`)
	browsertest.Eval[bool](form, `(f => {
		f.elements.login.value = "edda";
		f.elements.name.value = "Edda";
		f.querySelector("[type=checkbox]").checked = true;
		f.requestSubmit();
	})(document.querySelector("form[action='/people/add']")), true`)
	form.AwaitText("main", "Nothing of what you entered is recorded.")
	form.Axe()
	if text := browsertest.Eval[string](form, "document.querySelector('main a.button').target"); text != "_blank" {
		t.Errorf("the sign-in takes the form's place: %q", text)
	}
	other.Open(srv.URL + "/people")
	signIn(other)
	if strings.Contains(browsertest.Eval[string](other, "document.body.innerText"), "edda") {
		t.Fatal("recorded by nobody")
	}
	form.Do(chromedp.Reload())
	form.AwaitText("main", "edda")
}
