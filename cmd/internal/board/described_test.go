//go:build !race

package board_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/door"
	"listbound/cmd/internal/site"
	"listbound/projections"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// schemas holds values against the description's own schemas, by a library that is not of this program.
type schemas struct{ c *jsonschema.Compiler }

func describedSchemas(t *testing.T, base string) schemas {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(page(t, base+"/api/openapi.json")))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("openapi.json", doc); err != nil {
		t.Fatal(err)
	}
	return schemas{c}
}

// fits reports what is wrong with a JSON text, by the schema at a place in the description.
func (s schemas) fits(t *testing.T, body string, place ...string) {
	t.Helper()
	for i := range place {
		place[i] = strings.NewReplacer("~", "~0", "/", "~1").Replace(place[i])
	}
	at := strings.Join(place, "/")
	schema, err := s.c.Compile("openapi.json#/" + at)
	if err != nil {
		t.Fatalf("%s: %v", at, err)
	}
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(body))
	if err == nil {
		err = schema.Validate(v)
	}
	if err != nil {
		t.Errorf("%s: %v in %.400s", at, err, body)
	}
}

// answer holds an answer against its description.
func (s schemas) answer(t *testing.T, op oper, method, path, kind, body string) {
	t.Helper()
	if _, ok := op.Responses["200"].Content[kind]; !ok {
		t.Errorf("%s %s answers %s, which is not described", method, path, kind)
		return
	}
	place := func() []string { return []string{"paths", path, method, "responses", "200", "content", kind, "schema"} }
	switch kind {
	case "application/json":
		s.fits(t, body, place()...)
		if body == "[]\n" {
			t.Errorf("%s answers an empty array, which shows nothing", path)
		}
	case "application/x-ndjson", "application/jsonl":
		for line := range strings.Lines(body) {
			s.fits(t, line, place()...)
		}
	}
	if body == "" {
		t.Errorf("%s answers nothing", path)
	}
}

// refused holds an error against RFC 9457 and the description.
func (s schemas) refused(t *testing.T, what string, code int, head http.Header, body string) {
	t.Helper()
	if kind := head.Get("Content-Type"); kind != "application/problem+json" {
		t.Errorf("%s: %d is answered as %s", what, code, kind)
	}
	s.fits(t, body, "components", "schemas", "Error")
	var p struct{ Status int }
	if err := json.Unmarshal([]byte(body), &p); err != nil || p.Status != code {
		t.Errorf("%s: %d says status %d, %v", what, code, p.Status, err)
	}
}

// TestDescriptionFitsTheServer asks every described address that reads, and holds the
// answer, member by member, against its description.
func TestDescriptionFitsTheServer(t *testing.T) {
	srv, _ := weekServer(t)
	d, s := description(t, srv.URL), describedSchemas(t, srv.URL)
	for _, path := range slices.Sorted(maps.Keys(d.Paths)) {
		op, ok := d.Paths[path]["get"]
		if !ok {
			continue
		}
		q, at := url.Values{}, path
		for _, p := range op.Parameters {
			switch {
			case p.In == "path":
				at = strings.ReplaceAll(at, "{"+p.Name+"}", fmt.Sprint(p.Example))
			case p.Example != nil:
				q.Set(p.Name, fmt.Sprint(p.Example))
			}
		}
		code, head, body := get(t, srv.URL+at+"?"+q.Encode())
		kind, _, err := mime.ParseMediaType(head.Get("Content-Type"))
		if code != http.StatusOK || err != nil {
			t.Errorf("%s: %d, %s: %.200s", path, code, head.Get("Content-Type"), body)
			continue
		}
		s.answer(t, op, "get", path, kind, body)
		if !strings.HasPrefix(path, "/api/") {
			continue
		}
		// What is not described is not passed over: a filter that doesn't filter would be believed.
		code, head, body = get(t, srv.URL+at+"?status=broken&"+q.Encode())
		if code != http.StatusBadRequest || !strings.Contains(body, `\"status\"`) {
			t.Errorf("%s with a parameter that it doesn't take: %d %s", path, code, body)
		}
		s.refused(t, path, code, head, body)
	}
	code, head, body := get(t, srv.URL+"/api/history?set=NONE")
	if code != http.StatusNotFound {
		t.Errorf("a set that nobody knows: %d", code)
	}
	s.refused(t, "a set that nobody knows", code, head, body)
}

// handedIn is what each address that takes something in is asked with.
func handedIn() map[string]struct{ query, body string } {
	return map[string]struct{ query, body string }{
		"/api/observations": {body: `{"station":"north/or-3","kind":"set.opened","time":"2026-03-06T07:12:00Z","set":"SET-9",` +
			`"operator":"B-1","data":{"case":"K-1"}}` + "\n{}\n"},
		"/api/rebuild":              {},
		"/api/runs/logs":            {body: "Time,T1\n0,20\n1,21\n"},
		"/api/schedule":             {query: "operator=B-1&check=1", body: "case,start\nK-9,2026-03-06 07:30\n"},
		"/api/assess":               {body: `{"choices":{"placements":["outside","inside-bag"],"dependence":"high"}}`},
		"/api/texts/redact":         {body: `{"case":"K-1","reason":"x","check":true}`},
		"/api/stations/enrol":       {query: "station=north/or-9"},
		"/api/stations/retire":      {query: "station=north/or-9&reason=lost"},
		"/api/paper":                {query: "lang=de", body: "no picture"},
		"/api/registers/{register}": {query: "operator=B-1&check=1", body: "place\nshelf-1\n"},
	}
}

// TestDescriptionFitsWhatIsHandedIn: so with the addresses that take something in.
func TestDescriptionFitsWhatIsHandedIn(t *testing.T) {
	srv, _ := headServer(t)
	d, s := description(t, srv.URL), describedSchemas(t, srv.URL)
	asked := handedIn()
	send := func(path, query string) (int, http.Header, string) {
		t.Helper()
		at := strings.ReplaceAll(path, "{register}", "places") + "?" + query
		res, err := http.Post(srv.URL+at, "application/octet-stream", strings.NewReader(asked[path].body))
		return answered(t, res, err)
	}
	met := 0
	for _, path := range slices.Sorted(maps.Keys(d.Paths)) {
		op, ok := d.Paths[path]["post"]
		if !ok {
			continue
		}
		a, ok := asked[path]
		if !ok {
			t.Errorf("%s is described, and this test doesn't ask it", path)
			continue
		}
		met++
		code, head, body := send(path, a.query)
		kind, _, err := mime.ParseMediaType(head.Get("Content-Type"))
		if code != http.StatusOK || err != nil {
			t.Errorf("%s: %d, %s: %.300s", path, code, head.Get("Content-Type"), body)
			continue
		}
		s.answer(t, op, "post", path, kind, body)
		code, head, body = send(path, "status=broken&"+a.query)
		if code != http.StatusBadRequest {
			t.Errorf("%s with a parameter that it doesn't take: %d", path, code)
		}
		s.refused(t, path, code, head, body)
	}
	if met != len(asked) {
		t.Errorf("%d of %d were asked", met, len(asked))
	}
}

// TestDescriptionIsComplete: what programs may ask is described, each with an id of its own, what it is, and how it fails;
// and every schema is one (JSON Schema 2020-12, as OpenAPI 3.1 has it).
func TestDescriptionIsComplete(t *testing.T) {
	srv, _ := weekServer(t)
	d, s := description(t, srv.URL), describedSchemas(t, srv.URL)
	ids := make(map[string]string)
	routes := make(map[string]bool)
	for path, ops := range d.Paths {
		for method, op := range ops {
			route := strings.ToUpper(method) + " " + path
			routes[route] = true
			if other := ids[op.ID]; other != "" || op.ID == "" {
				t.Errorf("%s has the id %q, as %q has", route, op.ID, other)
			}
			ids[op.ID] = route
			_, refuses := op.Responses["4XX"]
			_, fails := op.Responses["5XX"]
			if op.Summary == "" || !refuses || !fails && strings.HasPrefix(path, "/api/") {
				t.Errorf("%s doesn't say what it is or how it fails", route)
			}
			for _, p := range op.Parameters {
				if p.Description == "" {
					t.Errorf("%s: %s is not described", route, p.Name)
				}
			}
		}
	}
	programs := 0
	for _, r := range door.Rules() {
		if _, path, _ := strings.Cut(r.Pattern, " "); strings.HasPrefix(path, "/api/") {
			programs++
			if !routes[r.Pattern] {
				t.Errorf("%s is not described", r.Pattern)
			}
		}
	}
	if programs < 25 {
		t.Errorf("%d routes for programs", programs)
	}
	for name := range d.Parts.Schemas {
		if _, err := s.c.Compile("openapi.json#/components/schemas/" + name); err != nil {
			t.Errorf("schema %s: %v", name, err)
		}
	}
}

// TestPagesInTheBrowser opens every page in every size and both languages, runs
// axe-core on it, and holds that nothing sticks out of the window sideways.
func TestPagesInTheBrowser(t *testing.T) {
	t.Parallel()
	srv, _ := weekServer(t)
	b := browser(t)
	pages := addresses(t)
	if len(pages) < 15 {
		t.Fatal("too few pages")
	}
	for name, path := range pages {
		want := http.StatusOK
		if name == "refused" {
			want = http.StatusNotFound
		}
		if got, _, _ := get(t, srv.URL+path); got != want {
			t.Errorf("%s is answered %d, want %d", name, got, want)
		}
	}
	for _, size := range browsertest.Sizes() {
		tab := b.Tab(t, size)
		for name, path := range pages {
			if size.Name != "desk" && !slices.Contains([]string{"board", "swapped", "touched", "station"}, name) {
				continue // of the others the desk says as much, and a phone in German, below
			}
			tab.Open(srv.URL + path)
			if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
				t.Errorf("%s at %s is %d pixels wider than the window", name, size.Name, wide)
			}
			for _, word := range browsertest.Eval[[]string](tab, wordsOutside) {
				t.Errorf("%s at %s: %q is wider than its link", name, size.Name, word)
			}
			if strings.Contains(browsertest.Eval[string](tab, "document.body.innerText"), "board.") {
				t.Errorf("%s shows the key of a text", name)
			}
			tab.Shot(name + "-" + size.Name)
			if size.Name == "desk" || size.Name == "phone" && slices.Contains([]string{"board", "swapped", "touched", "station"}, name) {
				tab.Axe()
			}
		}
	}
	tab := b.Tab(t, browsertest.Sizes()[2]) // German words are long, so where there is least room
	for name, path := range pages {
		join := "?"
		if strings.Contains(path, "?") {
			join = "&"
		}
		tab.Open(srv.URL + path + join + "lang=de")
		text := browsertest.Eval[string](tab, "document.body.innerText")
		if strings.Contains(text, "board.") || !strings.Contains(text, "Zeiten in UTC") {
			t.Errorf("%s in German is not whole", name)
		}
		if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
			t.Errorf("%s in German is %d pixels wider than a phone", name, wide)
		}
		for _, word := range browsertest.Eval[[]string](tab, wordsOutside) {
			t.Errorf("%s in German: %q is wider than its link", name, word)
		}
		tab.Shot(name + "-de")
	}
}

// TestBothClocksAndCorrections: the week's late and corrected records are marked
// as such in their set's picture, in words and by shape, and in the table.
func TestBothClocksAndCorrections(t *testing.T) {
	srv, s := weekServer(t)
	var late, corrected int
	seen := make(map[string]bool)
	var stored struct {
		Events []struct {
			Event struct{ Subject, Trip, Type string }
		}
		Next string
	}
	for at := "/api/events?limit=1000"; at != ""; at = stored.Next {
		stored.Next = ""
		stored.Events = nil
		if err := json.Unmarshal([]byte(page(t, srv.URL+at)), &stored); err != nil {
			t.Fatal(err)
		}
		for _, e := range stored.Events {
			if e.Event.Trip != "" {
				seen[e.Event.Trip] = true
			}
		}
	}
	for trip := range seen {
		h, err := s.History(t.Context(), site.Query{Trip: trip})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(h.Events, func(e projections.HistoryEvent) bool {
			return e.Trip == trip && (e.Voided != 0 || e.Replaced != 0 || e.Late)
		})
		if i < 0 {
			continue
		}
		e := h.Events[i]
		body := page(t, srv.URL+"/history?trip="+trip)
		picture := svgs.FindString(body)
		words := described(t, trip, picture)
		switch {
		case e.Voided != 0:
			corrected++
			if !strings.Contains(words, fmt.Sprintf("Record %d is void by record %d.", e.Seq, e.Voided)) ||
				!strings.Contains(body, fmt.Sprintf("void by record %d", e.Voided)) {
				t.Errorf("record %d is void; the page of %s does not say so", e.Seq, e.Set)
			}
		case e.Replaced != 0:
			corrected++
			if !strings.Contains(words, fmt.Sprintf("Record %d was corrected by record %d.", e.Seq, e.Replaced)) ||
				!strings.Contains(body, fmt.Sprintf("corrected by record %d", e.Replaced)) {
				t.Errorf("record %d was corrected; the page of %s does not say so", e.Seq, e.Set)
			}
		default:
			late++
			if !strings.Contains(words, fmt.Sprintf("Record %d was observed", e.Seq)) || !strings.Contains(picture, ">Recorded<") {
				t.Errorf("record %d came late; the picture of %s does not say so: %s", e.Seq, e.Set, words)
			}
		}
	}
	if late == 0 || corrected == 0 {
		t.Fatalf("%d late and %d corrected records in the week", late, corrected)
	}
}
