package ledger_test

import (
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// The server says that a write failed in its log only. What it says belongs to its version: before layoutVersion is
// raised, this test must see the text of a real failed write come through. Otherwise a full disk shows as an append
// that nobody answers, with its outcome unknown.
func TestServerReportsWriteError(t *testing.T) {
	if server.VERSION != ledger.LayoutVersion {
		t.Errorf("the server is version %s; how it words a failed write is known of %s",
			server.VERSION, ledger.LayoutVersion)
	}
	opts := ledgertest.Options(t)
	opts.Clock = time.Now
	_, reason, _ := fillDisk(t, opts)
	want := "the stream could not store it: Filestore [CUSTODY] Critical write error: "
	if !strings.Contains(reason, want) {
		t.Errorf("the append that met a full disk was told %s, want %q in it", reason, want)
	}
	if !strings.Contains(reason, ".blk") {
		t.Errorf("the file that could not be written is not named: %s", reason)
	}
	ledgertest.Open(t, opts)
}
