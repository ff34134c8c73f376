package door_test

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// signingTablet is the browser of a station that signs for itself: it signs what the server says that an input comes to.
type signingTablet struct {
	*caller
	name   string
	signer note.Signer
	head   site.Head
}

// signingTablet enrols a station anew with a key that the server hasn't, and brings a browser to it.
func (h *house) signingTablet(t *testing.T, name string) *signingTablet {
	t.Helper()
	private, public, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(private)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.site.Enrol(t.Context(), name, public, "signs for itself"); err != nil {
		t.Fatal(err)
	}
	c := h.atStation(t, name)
	c.head = http.Header{site.KeyHeader: {site.KeyID(public)}}
	return &signingTablet{caller: c, name: name, signer: signer}
}

func (b *signingTablet) sign(t *testing.T, asked []site.Unsigned) (out []site.SignedRecord) {
	t.Helper()
	for _, u := range asked {
		e, err := events.Decode(u.Event)
		if err != nil {
			t.Fatal(err)
		}
		e.StationSeq, e.StationPrev = b.head.Number+1, b.head.Hash
		n, err := events.Sign(e, b.signer)
		if err != nil {
			t.Fatal(err)
		}
		b.head = site.Head{Number: e.StationSeq, Hash: events.NoteHash(n)}
		out = append(out, site.SignedRecord{Signed: string(n), Addenda: u.Addenda})
	}
	return out
}

// observe records as a bench does.
func (b *signingTablet) observe(t *testing.T, o *events.Observation) string {
	t.Helper()
	o.Station = b.name
	_, err := b.h.site.Observe(site.WithOwnKey(t.Context(), b.name, nil), o)
	unsigned := new(site.UnsignedError)
	if !errors.As(err, &unsigned) {
		t.Fatalf("%s: not asked to sign: %v", o.Kind, err)
	}
	rs, err := b.h.site.Observe(site.WithOwnKey(t.Context(), b.name, b.sign(t, unsigned.Events)), o)
	if err != nil {
		t.Fatalf("%s: %v", o.Kind, err)
	}
	return rs[0].ID
}

// corrects sends the form, signs what it comes to, and sends it once more.
func (b *signingTablet) corrects(t *testing.T, form url.Values) (int, string) {
	t.Helper()
	size, path := b.h.site.Size(), "/at/"+b.name+"/correct"
	code, text := b.post(t, path, form)
	var asked struct{ Sign []site.Unsigned }
	if err := json.Unmarshal([]byte(text), &asked); err != nil || len(asked.Sign) != 1 || b.h.site.Size() != size {
		return code, text
	}
	raw, err := json.Marshal(b.sign(t, asked.Sign))
	if err != nil {
		t.Fatal(err)
	}
	form.Set("signed", string(raw))
	return b.post(t, path, form)
}

type saidAtBench struct {
	kind            events.Kind
	member, is, was string
}

// saidAtBenches is what the benches record that a form says anew, each with what is changed of it and what it says then.
var saidAtBenches = []saidAtBench{
	{events.KindSetPacked, "note", "the lid sticks", ""},
	{events.KindListSealed, "bagLot", "T-4", ""},
	{events.KindSetSterilized, "run", "3", "2"},
	{events.KindSetOpened, "room", "OR 4", ""},
	{events.KindSetCounted, "witness", "B-3", "B-2"},
	{events.KindCaseClosed, "outcome", "unreconciled", "reconciled"},
	{events.KindSetChecked, "place", "shelf 3", "shelf 2"},
	{events.KindSetReturned, "place", "lift 2", ""},
	{events.KindPieceReported, "place", "bench 2", ""},
	{events.KindIndicatorRead, "lot", "BI-7", ""},
	{events.KindSterilizerTested, "reason", "a pack of another maker", ""},
}

// TestEachBenchCorrectsItsOwn: at a station that signs for itself whatever a bench records is said anew, and taken back, by its own
// page, and both corrections are records that the station's key signed, in its numbering. A browser without the key records nothing.
func TestEachBenchCorrectsItsOwn(t *testing.T) {
	h := newHouse(t)
	b := h.signingTablet(t, "north/or-1")
	without := h.atStation(t, "north/or-1")
	samples := sampleData(t, h.site.Key(), "")
	for _, k := range events.Kinds() {
		if len(events.Replaceable(k)) > 0 && !slices.ContainsFunc(saidAtBenches, func(x saidAtBench) bool { return x.kind == k }) {
			t.Errorf("%s is said anew by a form, and not tried", k)
		}
	}
	for _, x := range saidAtBenches {
		h.clock.move(time.Minute)
		data, err := events.ParseObservedData(x.kind, []byte(samples[x.kind]))
		if err != nil {
			t.Fatal(err)
		}
		o := &events.Observation{Kind: x.kind, Time: h.clock.now(), Operator: "B-1", Data: data}
		if x.kind.AboutSet() {
			o.Set = "LAP-001"
		}
		id := b.observe(t, o)
		page := "/at/north/or-1/correct?event=" + id
		_, text := b.get(t, page)
		form := anewOf(t, text)
		if form.Get(x.member) != x.was {
			t.Errorf("%s: the form says %q of %s, want %q", x.kind, form.Get(x.member), x.member, x.was)
		}
		form.Set(x.member, x.is)
		form.Set("anew-badge", "B-1")
		form.Set("anew-reason", "a slip")
		if code, _ := without.post(t, "/at/north/or-1/correct", form); code != http.StatusForbidden {
			t.Errorf("%s without the key: %d", x.kind, code)
		}
		back := url.Values{"event": {id}, "badge": {"B-1"}, "reason": {"of another tray"}}
		for _, step := range []struct {
			form   url.Values
			says   string
			action string
		}{{form, "Said anew by record", "replace"}, {back, "Taken back by record", "void"}} {
			h.clock.move(time.Second)
			size := h.site.Size()
			if code, text := b.corrects(t, step.form); code != http.StatusOK || !strings.Contains(text, step.says) {
				t.Fatalf("%s, %s: %d %s", x.kind, step.action, code, text)
			}
			b.isSigned(t, size+1, id, step.action)
			_, text := b.get(t, page)
			if step.action == "replace" && anewOf(t, text).Get(x.member) != x.is {
				t.Errorf("%s says %q now", x.kind, anewOf(t, text).Get(x.member))
			}
		}
	}
	// Each of them verifies by the key that the station was enrolled with, and the server has no other of it.
	all, err := h.site.Stations(t.Context())
	if err != nil || slices.ContainsFunc(all, func(s site.Station) bool { return s.Name == b.name && s.Here }) {
		t.Errorf("the server has its key: %v", err)
	}
	if v, err := h.site.Verify(t.Context(), nil); err != nil || !v.OK || len(v.Remarks) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
}

// isSigned holds that a record is a correction that the tablet's key signed last.
func (b *signingTablet) isSigned(t *testing.T, seq int64, of, action string) {
	t.Helper()
	if b.h.site.Size() != seq {
		t.Fatalf("there are %d records, not %d", b.h.site.Size(), seq)
	}
	e, err := b.h.site.SignedAt(seq)
	if err != nil {
		t.Fatal(err)
	}
	d, ok := e.Data.(*events.EventCorrected)
	if !ok || d.Event != of || d.Action != action || e.Station != b.name || e.StationSeq != b.head.Number {
		t.Errorf("record %d is %+v", seq, e)
	}
}
