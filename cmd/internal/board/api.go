package board

import (
	"context"
	_ "embed"
	"fmt"
	"net/http"
	"strconv"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/version"
	"listbound/events"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/readmodel"
)

// The description of the programs' interface. A test holds it against the
// running server.
//
//go:embed openapi.json
var openAPI []byte

// Description returns the description of the programs' interface, as it is served.
func Description() []byte { return openAPI }

func (p *pages) registerAPI(mux shell.Mux) {
	mux.HandleFunc("GET /api/events", p.apiEvents)
	mux.HandleFunc("GET /api/board", p.apiBoard)
	mux.HandleFunc("GET /api/openapi.json", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/vnd.oai.openapi+json;version=3.1")
		w.Write(openAPI) // a client that has gone away needs no answer
	})
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, r *http.Request) { say(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /readyz", p.ready)
	mux.Handle("GET /metrics", p.metrics())
}

func say(w http.ResponseWriter, code int, s string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	fmt.Fprintln(w, s) // a client that has gone away needs no answer
}

// ready tells whether the server can take records and answer questions.
func (p *pages) ready(w http.ResponseWriter, r *http.Request) {
	if err := p.site.Ready(r.Context()); err != nil {
		p.sh.FailText(w, r, err)
		return
	}
	say(w, http.StatusOK, "ready")
}

const (
	eventsUnasked = 100
	eventsAtMost  = 1000
)

// storedEvent is an event as its station signed it, beside where it stands in
// the ledger.
type storedEvent struct {
	Seq      int64          `json:"seq"`
	Recorded string         `json:"recorded"`
	Event    jsontext.Value `json:"event"`             // the CloudEvent, byte for byte what was signed
	Remarks  []string       `json:"remarks,omitempty"` // what is wrong with the record itself
	Record   string         `json:"record,omitempty"`  // the note as stored, when asked for
}

type eventsPage struct {
	Size   int64         `json:"size"` // records in the ledger now
	Events []storedEvent `json:"events"`
	Next   string        `json:"next,omitempty"` // address of the following page; empty at the end
}

// whole reads a parameter that is a whole number from least to most.
func whole(r *http.Request, name string, unasked, least, most int64) (int64, error) {
	s := r.URL.Query().Get(name)
	if s == "" {
		return unasked, nil
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < least || n > most {
		return 0, refuse(http.StatusBadRequest, "%s %q is not a number from %d to %d", name, s, least, most)
	}
	return n, nil
}

// apiEvents hands the events out in the ledger's order. A page is named by the
// sequence before it, and sequences never change, so paging is stable however
// much is recorded meanwhile. With Accept: application/cloudevents-batch+json
// the answer is the bare CloudEvents and the next page stands in the header Link.
func (p *pages) apiEvents(w http.ResponseWriter, r *http.Request) {
	after, err := whole(r, "after", 0, 0, 1<<53)
	var limit int64
	if err == nil {
		limit, err = whole(r, "limit", eventsUnasked, 1, eventsAtMost)
	}
	if err != nil {
		p.sh.FailJSON(w, r, err)
		return
	}
	page := eventsPage{Size: p.site.Size(), Events: []storedEvent{}}
	withRecord := r.URL.Query().Get("records") == "1"
	err = p.site.Ask(func(m *site.View) error {
		for seq := after + 1; seq <= min(after+limit, page.Size); seq++ {
			e, err := p.stored(r, m, seq, withRecord)
			if err != nil {
				return err
			}
			page.Events = append(page.Events, e)
		}
		return nil
	})
	if err != nil {
		p.sh.FailJSON(w, r, err)
		return
	}
	if last := after + int64(len(page.Events)); last < page.Size && len(page.Events) > 0 {
		page.Next = fmt.Sprintf("/api/events?after=%d&limit=%d", last, limit)
		w.Header().Set("Link", fmt.Sprintf(`<%s>; rel="next"`, page.Next))
	}
	const batch = "application/cloudevents-batch+json"
	if r.Header.Get("Accept") != batch {
		p.sh.WriteJSON(w, r, http.StatusOK, page)
		return
	}
	bare := make([]jsontext.Value, 0, len(page.Events))
	for _, e := range page.Events {
		if e.Event != nil {
			bare = append(bare, e.Event)
		}
	}
	w.Header().Set("Vary", "Accept")
	raw, err := json.Marshal(bare)
	if err != nil {
		p.sh.FailJSON(w, r, err)
		return
	}
	w.Header().Set("Content-Type", batch)
	w.Write(raw) // a client that has gone away needs no answer
}

func (p *pages) stored(r *http.Request, m *site.View, seq int64, withRecord bool) (storedEvent, error) {
	out := storedEvent{Seq: seq}
	raw, err := p.site.ReadRecord(seq)
	if err != nil {
		return out, err
	}
	n, at, _, err := proof.SplitArrival(p.site.Name(), raw)
	if err != nil {
		return out, fmt.Errorf("record %d: %w", seq, err)
	}
	out.Recorded = rfc3339(at)
	if text, err := events.Text(n); err == nil && jsontext.Value(text).IsValid() {
		out.Event = jsontext.Value(text)
	} else {
		out.Event = jsontext.Value("null") // it is no event; the record can be had
	}
	remarks, err := m.RemarksOf(r.Context(), seq)
	if err != nil {
		return out, err
	}
	out.Remarks = remarks.Names()
	if withRecord {
		out.Record = string(raw)
	}
	return out, nil
}

type apiBoardRow struct {
	projections.Verdict
	List      string `json:"list,omitempty"`
	Placement string `json:"placement,omitempty"`
	AtStation string `json:"atStation,omitempty"`
}

type apiBoardPage struct {
	Total int           `json:"total"`
	Rows  []apiBoardRow `json:"rows"`
	Next  string        `json:"next,omitempty"`
}

// turnsThat returns the turns in an incident that is closed (1), or open (0); nil: any.
func turnsThat(ctx context.Context, m *site.View, closed string) ([]projections.TripKey, error) {
	switch closed {
	case "":
		return nil, nil
	case "0", "1":
	default:
		return nil, refuse(http.StatusBadRequest, "closed %q is neither 0 nor 1", closed)
	}
	ins, err := m.Incidents(ctx)
	turns := []projections.TripKey{}
	for i := range ins {
		if (ins[i].State == projections.IncidentClosed) != (closed == "1") {
			continue
		}
		for _, x := range ins[i].Members {
			turns = append(turns, x.TripKey)
		}
	}
	return turns, err
}

// apiBoard is the board for programs, with the same filters.
func (p *pages) apiBoard(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	at, err := p.site.ReadMoment(q.Get(asOfName))
	now := at
	if at.IsZero() {
		now = p.site.Clock()
	}
	var f readmodel.BoardFilter
	if err == nil {
		f, err = p.filter(q, now)
	}
	var after *readmodel.BoardCursor
	if err == nil {
		after, err = parseCursor[readmodel.BoardCursor](q.Get("after"))
	}
	var limit int64
	if err == nil {
		limit, err = whole(r, "limit", eventsUnasked, 1, eventsAtMost)
	}
	page := apiBoardPage{Rows: []apiBoardRow{}}
	var rows []readmodel.BoardRow
	if err == nil {
		err = p.site.AskAt(r.Context(), at, func(m *site.View) (err error) {
			if f.Turns, err = turnsThat(r.Context(), m, q.Get("closed")); err != nil {
				return err
			}
			if rows, err = m.Board(r.Context(), f, after, int(limit)+1); err != nil {
				return err
			}
			if page.Total, err = m.BoardCount(r.Context(), f); err != nil {
				return err
			}
			return tellBoard(r.Context(), m, rows)
		})
	}
	if err != nil {
		p.sh.FailJSON(w, r, err)
		return
	}
	if len(rows) > int(limit) {
		rows = rows[:limit]
		v := keep(q, append([]string{"limit"}, filterNames...)...)
		if !at.IsZero() {
			v.Set(asOfName, rfc3339(at)) // a time of day alone may be another one by then
		}
		v.Set("after", formatCursor(rows[limit-1].Place))
		page.Next = address("/api/board", v)
	}
	for _, x := range rows {
		p.site.Words().Tell(&x.Verdict)
		page.Rows = append(page.Rows, apiBoardRow{x.Verdict, x.List, x.Placement, x.AtStation})
	}
	p.sh.WriteJSON(w, r, http.StatusOK, page)
}

// metrics has a registry of its own: two servers in one process, as in tests,
// do not share numbers.
func (p *pages) metrics() http.Handler {
	reg := prometheus.NewRegistry()
	reg.MustRegister(p.counts...)
	gauge := func(name, help string, value func() float64) {
		reg.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, value))
	}
	reg.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "listbound_build_info", Help: "Which program this is and by which judgement it judges; always 1.",
		ConstLabels: prometheus.Labels{"version": version.String(), "judgement": readmodel.Fingerprint()},
	}, func() float64 { return 1 }))
	gauge("listbound_ledger_records", "Records in the ledger.", func() float64 { return float64(p.site.Size()) })
	gauge("listbound_ledger_signed_records", "Records that the last signed checkpoint covers.",
		func() float64 { return float64(p.site.Signed().Size) })
	gauge("listbound_ledger_problems", "What is wrong with the ledger; it takes no records while this is not 0.",
		func() float64 { return float64(len(p.site.Damage())) })
	gauge("listbound_ledger_audit_errors", "Records whose form or signature did not hold when they were read again.",
		func() float64 { return float64(p.site.AuditErrors()) })
	p.checkMetrics(gauge)
	gauge("listbound_readmodel_position", "Sequence of the last record judged; -1 where judging has stopped.",
		func() float64 {
			pos := int64(-1)
			if err := p.site.Ask(func(m *site.View) error { pos = m.Position(); return nil }); err != nil {
				return -1
			}
			return float64(pos)
		})
	reg.MustRegister(&tripCollector{p: p,
		trips: prometheus.NewDesc("listbound_trips",
			"Turns of sets by the state of their chain.", []string{"status"}, nil),
		findings: prometheus.NewDesc("listbound_findings",
			"Turns of sets on the board by finding.", []string{"code"}, nil)})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		found, err := reg.Gather()
		if err != nil { // which the library would answer as it is
			p.sh.FailText(w, r, err)
			return
		}
		gathered := prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) { return found, nil })
		promhttp.HandlerFor(gathered, promhttp.HandlerOpts{}).ServeHTTP(w, r)
	})
}

// checkMetrics are how old is what others and the server itself saw of the ledger.
func (p *pages) checkMetrics(gauge func(name, help string, value func() float64)) {
	gauge("listbound_check_timestamp_seconds", "When all records were last read again in the background, Unix time; 0: never.",
		func() float64 {
			if c := p.site.Checked(); c != nil {
				return float64(c.At.Unix())
			}
			return 0
		})
	gauge("listbound_check_problems", "What the last background check of all records found wrong.", func() float64 {
		if c := p.site.Checked(); c != nil {
			return float64(len(c.Problems))
		}
		return 0
	})
	if p.site.Witnesses() != nil {
		gauge("listbound_cosigned_timestamp_seconds", "When enough witnesses had last signed the ledger, Unix time; 0: never.",
			func() float64 {
				if at := p.site.Witnesses().Enough; !at.IsZero() {
					return float64(at.Unix())
				}
				return 0
			})
	}
	if p.site.Timestamps() != nil {
		gauge("listbound_timestamped_timestamp_seconds", "When an authority outside last timestamped the ledger, Unix time; 0: never.",
			func() float64 {
				if at := p.site.Timestamps().At; !at.IsZero() {
					return float64(at.Unix())
				}
				return 0
			})
		gauge("listbound_timestamped_records", "How many of the ledger's first records were timestamped.",
			func() float64 { return float64(p.site.Timestamps().Size) })
	}
}

// tripCollector asks the read model when it is asked itself.
type tripCollector struct {
	p               *pages
	trips, findings *prometheus.Desc
}

// Describe implements prometheus.Collector.
func (c *tripCollector) Describe(out chan<- *prometheus.Desc) { out <- c.trips; out <- c.findings }

// Collect implements prometheus.Collector.
func (c *tripCollector) Collect(out chan<- prometheus.Metric) {
	err := c.p.site.Ask(func(m *site.View) error {
		ctx, end := c.p.shortly()
		defer end()
		counts, err := m.Status(ctx)
		if err != nil {
			return err
		}
		for _, s := range []projections.Status{projections.Whole, projections.Open, projections.Doubtful,
			projections.Broken} {
			out <- prometheus.MustNewConstMetric(c.trips, prometheus.GaugeValue, float64(counts[s]), string(s))
		}
		tallies, err := m.BoardTallies(ctx, readmodel.BoardFilter{}, "code")
		if err != nil {
			return err
		}
		for _, t := range tallies {
			out <- prometheus.MustNewConstMetric(c.findings, prometheus.GaugeValue, float64(t.N), t.Value)
		}
		return nil
	})
	if err != nil {
		out <- prometheus.NewInvalidMetric(c.trips, err)
	}
}
