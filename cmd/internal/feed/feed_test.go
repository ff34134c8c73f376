package feed_test

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/feed"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

const wait = 10 * time.Second

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func start(t *testing.T) (s *site.Site, f *feed.Feed, reader nkeys.KeyPair, id string) {
	t.Helper()
	s = sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	reader, err := nkeys.CreateUser()
	if err == nil {
		id, err = reader.PublicKey()
	}
	if err != nil {
		t.Fatal(err)
	}
	f, err = feed.Start(s, feed.Options{Address: "127.0.0.1:0", Readers: feed.Keys{id}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
	return s, f, reader, id
}

func connect(t *testing.T, f *feed.Feed, key nkeys.KeyPair, id string) (*nats.Conn, chan error) {
	t.Helper()
	refused := make(chan error, 10)
	nc, err := nats.Connect(f.Address(), nats.Nkey(id, key.Sign), nats.CustomInboxPrefix(feed.Inbox(id)), nats.NoReconnect(),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { refused <- err }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return nc, refused
}

func record(t *testing.T, s *site.Site, n int) {
	t.Helper()
	var lines []string
	for i := range n {
		lines = append(lines,
			fmt.Sprintf(`{"station":"north/office","kind":"list.issued","time":"2026-03-02T10:%02d:%02dZ","operator":"B-1","data":{"list":"L-%d-%d","version":1,"title":"List","lines":[{"line":1,"item":"A","description":"Forceps","quantity":1}]}}`,
				i/60, i%60, s.Size(), i))
	}
	err := s.Record(t.Context(), strings.NewReader(strings.Join(lines, "\n")), func(r site.Receipt) error {
		if r.Error != "" {
			return errors.New(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// whole puts a message together to the record as stored.
func whole(t *testing.T, m *nats.Msg) string {
	t.Helper()
	sig, err := base64.StdEncoding.DecodeString(m.Header.Get(feed.HeaderSignatures))
	if err != nil || len(sig) == 0 {
		t.Fatalf("no signature lines: %v", err)
	}
	return string(m.Data) + "\n\n" + string(sig)
}

// TestReaderGetsEveryRecord: live and afterwards, byte for byte.
func TestReaderGetsEveryRecord(t *testing.T) {
	s, f, key, id := start(t)
	nc, _ := connect(t, f, key, id)
	sub, err := nc.SubscribeSync("custody.>")
	if err == nil {
		err = nc.Flush()
	}
	if err != nil {
		t.Fatal(err)
	}
	const n = 130
	record(t, s, n)
	for seq := int64(1); seq <= s.Size(); seq++ {
		m, err := sub.NextMsg(wait)
		if err != nil {
			t.Fatalf("record %d did not come: %v", seq, err)
		}
		stored, err := s.ReadRecord(seq)
		if err != nil {
			t.Fatal(err)
		}
		if m.Header.Get(feed.HeaderSequence) != strconv.FormatInt(seq, 10) || whole(t, m) != string(stored) {
			t.Fatalf("record %d came as %s", seq, m.Header.Get(feed.HeaderSequence))
		}
		var e struct{ SpecVersion, Type, Source, ID string }
		if err := json.Unmarshal(m.Data, &e); err != nil || e.SpecVersion != "1.0" || e.ID == "" ||
			m.Header.Get("content-type") != "application/cloudevents+json" {
			t.Errorf("record %d is no CloudEvent: %v %+v", seq, err, e)
		}
		if seq > 1 && m.Subject != "custody.north.office.list.issued" {
			t.Errorf("record %d on %s", seq, m.Subject)
		}
	}
	// From the beginning again, by asking.
	inbox := nc.NewInbox()
	answers, err := nc.SubscribeSync(inbox)
	if err != nil {
		t.Fatal(err)
	}
	var got int64
	for asked := 0; got < s.Size(); asked++ {
		if asked > 3 {
			t.Fatal("asked too often")
		}
		if err := nc.PublishRequest(fmt.Sprintf("events.%s.after.%d", id, got), inbox, nil); err != nil {
			t.Fatal(err)
		}
		for {
			m, err := answers.NextMsg(wait)
			if err != nil {
				t.Fatal(err)
			}
			if size := m.Header.Get(feed.HeaderSize); size != "" {
				if size != strconv.FormatInt(s.Size(), 10) {
					t.Errorf("the answer says %s records, there are %d", size, s.Size())
				}
				break
			}
			got++
			stored, err := s.ReadRecord(got)
			if err != nil || whole(t, m) != string(stored) {
				t.Fatalf("record %d: %v", got, err)
			}
		}
	}
}

// TestReaderMayOnlyRead: every other thing a reader tries is refused, and the
// ledger is as it was.
func TestReaderMayOnlyRead(t *testing.T) {
	s, f, key, id := start(t)
	record(t, s, 2)
	nc, refused := connect(t, f, key, id)
	size := s.Size()
	try := func(what string, do func() error) {
		t.Helper()
		if err := do(); err != nil {
			return
		}
		if err := nc.Flush(); err != nil {
			t.Fatal(err)
		}
		select {
		case err := <-refused:
			if !strings.Contains(strings.ToLower(err.Error()), "permissions violation") {
				t.Errorf("%s: %v", what, err)
			}
		case <-time.After(wait):
			t.Errorf("%s was not refused", what)
		}
	}
	other, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	otherID, err := other.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	for _, subject := range []string{"custody.north.office.list.issued", "$JS.API.STREAM.PURGE.CUSTODY",
		"$JS.API.STREAM.DELETE.CUSTODY", "$JS.API.CONSUMER.CREATE.CUSTODY", "$JS.API.STREAM.INFO.CUSTODY",
		"$SYS.REQ.SERVER.PING", "other", "events." + otherID + ".after.0", feed.Inbox(otherID) + ".x", feed.Inbox(id) + ".x"} {
		try("publishing on "+subject, func() error { return nc.Publish(subject, []byte("{}")) })
	}
	for _, subject := range []string{">", "_INBOX.>", feed.Inbox(otherID) + ".>", "events.>", "$SYS.>", "$JS.>", "*"} {
		try("subscribing to "+subject, func() error { _, err := nc.SubscribeSync(subject); return err })
	}
	// An answer asked for on a subject of the ledger goes nowhere.
	seen, err := nc.SubscribeSync("custody.>")
	if err == nil {
		err = nc.PublishRequest("events."+id+".after.0", "custody.north.office.set.packed", nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	// A number beyond any record is answered as one beyond the last: with the end.
	if end, err := nc.Request("events."+id+".after.9223372036854775807", nil, wait); err != nil || end.Header.Get(feed.HeaderSize) == "" {
		t.Errorf("after the greatest number: %+v, %v", end, err)
	}
	if _, err := nc.Request("events."+id+".after.999", nil, wait); err != nil { // answered after the one before it
		t.Fatal(err)
	}
	if n, _, err := seen.Pending(); err != nil || n != 0 {
		t.Errorf("%d messages came by an answer to the ledger's subject", n)
	}
	if _, err := nats.Connect(f.Address(), nats.Nkey(otherID, other.Sign), nats.NoReconnect()); err == nil {
		t.Error("a key that nobody allowed could connect")
	}
	if _, err := nats.Connect(f.Address(), nats.NoReconnect()); err == nil {
		t.Error("somebody without a key could connect")
	}
	if s.Size() != size {
		t.Errorf("%d records, there were %d", s.Size(), size)
	}
	if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
		t.Errorf("the ledger: %v %+v", err, v)
	}
}

func TestStartRefusesWhatNobodyMeans(t *testing.T) {
	s, f, _, _ := start(t)
	taken := strings.TrimPrefix(f.Address(), "nats://")
	for _, o := range []feed.Options{{Address: "here"}, {Address: "127.0.0.1:x"}, {Address: "127.0.0.1:0", Readers: feed.Keys{"SUAB"}}} {
		if g, err := feed.Start(s, o); err == nil {
			g.Close()
			t.Errorf("%+v was taken", o)
		}
	}
	if taken == "" {
		t.Fatal("the feed has no address")
	}
}

// TestFeedOverTLS: with a certificate, a reader who trusts it reads as ever, and nobody does without TLS.
func TestFeedOverTLS(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	reader, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	id, err := reader.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	ca, err := door.OpenAuthority(t.TempDir(), "north", nil, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	f, err := feed.Start(s, feed.Options{Address: "127.0.0.1:0", Readers: feed.Keys{id}, TLS: ca.TLS()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(ca.PEM())
	address := strings.Replace(f.Address(), "nats://", "tls://", 1)
	nc, err := nats.Connect(address, nats.Nkey(id, reader.Sign), nats.CustomInboxPrefix(feed.Inbox(id)), nats.NoReconnect(),
		nats.Secure(&tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	sub, err := nc.SubscribeSync("custody.>")
	if err == nil {
		err = nc.Flush()
	}
	if err != nil {
		t.Fatal(err)
	}
	record(t, s, 1)
	if m, err := sub.NextMsg(wait); err != nil || !strings.HasPrefix(m.Subject, "custody.north.") {
		t.Errorf("%v, %v", m, err)
	}
	host := strings.TrimPrefix(address, "tls://")
	conn, err := net.Dial("tcp", host)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	fmt.Fprintf(conn, "CONNECT {\"verbose\":false,\"tls_required\":false}\r\nSUB custody.> 1\r\nPING\r\n")
	all, _ := io.ReadAll(conn) // the server hangs up
	if strings.Contains(string(all), "PONG") || !strings.Contains(string(all), `"tls_required":true`) {
		t.Errorf("without TLS: %s", all)
	}
}

// counting lets in whom keys do, and counts what was refused.
type counting struct {
	feed.Keys
	refused *atomic.Int64
}

func (c counting) Refused() { c.refused.Add(1) }

// TestReadersDoNotHarmEachOther: nobody has answers sent to another's inbox, asks so much that others wait, hangs on with more than a few
// connections or has more than a few subscriptions; what was refused is counted and logged.
func TestReadersDoNotHarmEachOther(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	record(t, s, 120)
	var keys feed.Keys
	var pairs []nkeys.KeyPair
	for range 2 {
		pair, err := nkeys.CreateUser()
		if err != nil {
			t.Fatal(err)
		}
		id, err := pair.PublicKey()
		if err != nil {
			t.Fatal(err)
		}
		keys, pairs = append(keys, id), append(pairs, pair)
	}
	var log bytes.Buffer
	readers := counting{Keys: keys, refused: new(atomic.Int64)}
	f, err := feed.Start(s, feed.Options{Address: "127.0.0.1:0", Readers: readers, Logger: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	bad, refused := connect(t, f, pairs[0], keys[0])
	good, _ := connect(t, f, pairs[1], keys[1])
	aimed, err := good.SubscribeSync(feed.Inbox(keys[1]) + ".aimed")
	if err == nil {
		err = good.Flush()
	}
	if err != nil {
		t.Fatal(err)
	}
	// Questions without end, whose answers nobody takes, and some of them aimed at another: the other's own comes at once.
	for range 2000 {
		err = errors.Join(err, bad.PublishRequest("events."+keys[0]+".after.0", feed.Inbox(keys[0])+".nobody", nil),
			bad.PublishRequest("events."+keys[0]+".after.0", feed.Inbox(keys[1])+".aimed", nil),
			bad.PublishRequest("events."+keys[0]+".after.0", feed.Inbox(keys[0])+"x.aimed", nil),
			bad.PublishRequest("events."+keys[0]+".after.0", "custody.north.office.list.issued", nil))
	}
	if err = errors.Join(err, bad.Flush()); err != nil {
		t.Fatal(err)
	}
	if end, err := good.Request("events."+keys[1]+".after.121", nil, wait); err != nil || end.Header.Get(feed.HeaderSize) != "121" {
		t.Errorf("beside a reader that asks without end: %+v, %v", end, err)
	}
	if n, _, err := aimed.Pending(); err != nil || n != 0 {
		t.Errorf("%d answers to another's question, %v", n, err)
	}
	for range 101 {
		if _, err := bad.SubscribeSync("custody.>"); err != nil {
			t.Fatal(err)
		}
	}
	select {
	case err := <-refused:
		if !strings.Contains(err.Error(), "maximum subscriptions exceeded") {
			t.Errorf("the 101st subscription: %v", err)
		}
	case <-time.After(wait):
		t.Error("the 101st subscription was not refused")
	}
	if readers.refused.Load() == 0 {
		t.Error("a refusal is not counted")
	}
	gone := make(chan struct{})
	bad.SetClosedHandler(func(*nats.Conn) { close(gone) })
	for range 4 {
		connect(t, f, pairs[0], keys[0])
	}
	select {
	case <-gone:
	case <-time.After(wait):
		t.Error("a fifth connection, and the first is still there")
	}
	if !good.IsConnected() {
		t.Error("the other reader was cut off")
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if !strings.Contains(log.String(), "refused at the feed") {
		t.Errorf("not logged: %s", log.String())
	}
}
