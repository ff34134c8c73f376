package browsertest_test

import (
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
