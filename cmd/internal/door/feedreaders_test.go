package door_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/feed"
)

// TestFeedIsForPeople: who follows the events has an account and a role that reads them, by a key and until a date. Whoever is
// sent away, loses the role or whose date has come is cut off at once and doesn't get in again; that somebody followed is kept.
func TestFeedIsForPeople(t *testing.T) {
	h := newHouse(t)
	f, err := feed.Start(h.site, feed.Options{Address: "127.0.0.1:0", Readers: h.door})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
	h.door.OnChange(f.Recheck)
	user, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	key, err := user.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	connect := func() (*nats.Conn, chan struct{}, error) {
		gone := make(chan struct{})
		nc, err := nats.Connect(f.Address(), nats.Nkey(key, user.Sign), nats.NoReconnect(), nats.CustomInboxPrefix(feed.Inbox(key)),
			nats.ClosedHandler(func(*nats.Conn) { close(gone) }))
		return nc, gone, err
	}
	cutOff := func(why string, gone chan struct{}) {
		t.Helper()
		select {
		case <-gone:
		case <-time.After(10 * time.Second):
			t.Fatalf("%s, and still connected", why)
		}
		if nc, _, err := connect(); err == nil {
			nc.Close()
			t.Errorf("%s, and let in", why)
		}
	}
	let := func(login, days string, want int) {
		t.Helper()
		form := url.Values{"login": {login}, "key": {key}, "days": {days}}
		if code, text := h.admin.post(t, "/people/feed", form); code != want {
			t.Fatalf("%s: %d %s", login, code, text)
		}
	}
	in := func() (*nats.Conn, chan struct{}) {
		t.Helper()
		nc, gone, err := connect()
		if err != nil {
			t.Fatal(err)
		}
		return nc, gone
	}
	if nc, _, err := connect(); err == nil {
		nc.Close()
		t.Error("a key of nobody's is let in")
	}
	let("leads", "30", http.StatusUnprocessableEntity)
	let("nobody-here", "30", http.StatusUnprocessableEntity)
	let("audits", "30", http.StatusOK)
	_, gone := in()
	h.admin.post(t, "/people/roles", url.Values{"id": {h.idOf(t, "audits")}, "role": {"leads"}})
	cutOff("another role", gone)
	let("investigates", "30", http.StatusOK)
	_, gone = in()
	keys := h.accounts(t).Feed
	h.admin.post(t, "/people/feed-end", url.Values{"id": {keys[len(keys)-1].ID}})
	cutOff("its key was ended", gone)
	let("investigates", "1", http.StatusOK)
	_, gone = in()
	h.clock.move(24 * time.Hour)
	f.Recheck()
	cutOff("its date has come", gone)
	h.admin = h.signedIn(t, "administers")
	let("investigates", "30", http.StatusOK)
	nc, gone := in()
	sub, err := nc.SubscribeSync("custody.>")
	if err == nil {
		err = nc.Flush()
	}
	if err != nil {
		t.Fatal(err)
	}
	h.recordLine(t, `{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T11:59:00Z","set":"LAP-001","data":{"place":"A1"}}`)
	if _, err := sub.NextMsg(10 * time.Second); err != nil {
		t.Errorf("nothing came: %v", err)
	}
	id := h.idOf(t, "investigates")
	h.admin.post(t, "/people/end", url.Values{"id": {id}})
	cutOff("sent away", gone)
	files, err := filepath.Glob(filepath.Join(h.dir, door.Folder, "reads-*.jsonl"))
	if err != nil || len(files) == 0 {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(files[0])
	if err != nil || !strings.Contains(string(raw), `"person `+id+`"`) || !strings.Contains(string(raw), `"feed"`) {
		t.Errorf("that somebody followed is not kept: %v %s", err, raw)
	}
}
