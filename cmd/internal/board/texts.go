package board

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// The page of the texts beside the ledger: what keeps them, and taking them out. What is asked for stands in the body of
// a request, never in an address, since those are written down.

func (p *pages) registerTexts(mux shell.Mux) {
	mux.HandleFunc("GET /texts", p.page(func(r *http.Request, words *shell.Words) (*answer, error) {
		return p.textsPage(r.Context(), words, &textsBody{})
	}))
	mux.HandleFunc("POST /texts/find", p.textsForm(p.findTexts))
	mux.HandleFunc("POST /texts/redact", p.textsForm(p.redactTexts))
	mux.HandleFunc("POST /texts/hold", p.textsForm(p.placeHold))
	mux.HandleFunc("POST /texts/lift", p.textsForm(p.liftHold))
	mux.HandleFunc("POST /texts/keep", p.textsForm(p.keepTexts))
}

type textsBody struct {
	Problem, Done string
	Kept          *site.TextsKept

	// What is to be taken out, as it was entered.
	Case, Records, Reason, Badge string
	Due                          bool
	Found                        *site.Redacted // what would be taken out; asked about
	Redacted                     *site.Redacted // what was
	Table                        *table
}

func (p *pages) textsPage(ctx context.Context, words *shell.Words, b *textsBody) (*answer, error) {
	var err error
	if b.Kept, err = p.site.Texts(ctx); err != nil {
		return nil, err
	}
	return &answer{template: "texts", title: words.T("board.texts"), body: b}, nil
}

// textsForm does what a form says and shows the page again, with what came of it.
func (p *pages) textsForm(do func(*http.Request, *shell.Words, *textsBody) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		words := p.sh.Words(r)
		const most = 1 << 16
		r.Body = http.MaxBytesReader(w, r.Body, most)
		field := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
		b := &textsBody{Case: field("case"), Records: field("records"), Due: field("due") != ""}
		b.Badge, b.Reason = whoAndWhy(r)
		err := do(r, words, b)
		p.again(w, r, words, err, &b.Problem, func() (*answer, error) { return p.textsPage(r.Context(), words, b) })
	}
}

// redaction reads what is to be taken out.
func (b *textsBody) redaction(words *shell.Words) (site.Redaction, error) {
	r := site.Redaction{Case: b.Case, Due: b.Due, Reason: b.Reason, Operator: b.Badge}
	for _, s := range strings.FieldsFunc(b.Records, func(r rune) bool { return r == ' ' || r == ',' || r == ';' }) {
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			return r, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.texts-number", s))
		}
		r.Records = append(r.Records, n)
	}
	switch {
	case r.Reason == "":
		return r, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.reason-needed"))
	case r.Operator == "":
		return r, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	}
	return r, nil
}

func (p *pages) findTexts(r *http.Request, words *shell.Words, b *textsBody) error {
	asked, err := b.redaction(words)
	if err != nil {
		return err
	}
	asked.Check = true
	found, err := p.site.Redact(r.Context(), asked)
	if err != nil {
		return err
	}
	b.Found = found
	b.Table = newTable(words, "found", "board.texts-found", "record", "what-happened", "observed", "texts-member", "texts-text")
	for _, f := range found.Found {
		b.Table.add(number(f.Seq).to(recordLink(f.Seq)), text(kindText(words, f.Kind)), seconds(words, f.Observed),
			text(memberName(words, f.Member)), text(f.Text))
	}
	return nil
}

// memberName says what kind of text a member of a record's data is.
func memberName(words *shell.Words, member string) string {
	if member == events.AddendumCase {
		return words.T("board.case")
	}
	return words.T("board.texts-free")
}

func (p *pages) redactTexts(r *http.Request, words *shell.Words, b *textsBody) error {
	asked, err := b.redaction(words)
	if err != nil {
		return err
	}
	if b.Redacted, err = p.site.Redact(r.Context(), asked); err != nil {
		return err
	}
	// What was entered names what is gone.
	b.Case, b.Records, b.Reason, b.Due = "", "", "", false
	return nil
}

// sayOfTexts records what becomes of texts.
func (p *pages) sayOfTexts(r *http.Request, words *shell.Words, b *textsBody, d events.Data, needsReason bool) error {
	switch {
	case b.Badge == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	case needsReason && b.Reason == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.reason-needed"))
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{
		Station: p.site.Name(), Kind: d.Kind(), Time: p.site.Clock().UTC().Truncate(time.Millisecond), Operator: b.Badge, Data: d,
	})
	if err == nil {
		b.Done = words.T("board.texts-recorded", rs[0].Seq)
		b.Case, b.Reason = "", ""
	}
	return err
}

func (p *pages) placeHold(r *http.Request, words *shell.Words, b *textsBody) error {
	return p.sayOfTexts(r, words, b, &events.HoldPlaced{Hold: strings.TrimSpace(r.PostFormValue("hold")), Case: b.Case,
		Set: strings.TrimSpace(r.PostFormValue("set")), Reason: b.Reason}, true)
}

func (p *pages) liftHold(r *http.Request, words *shell.Words, b *textsBody) error {
	return p.sayOfTexts(r, words, b, &events.HoldLifted{Hold: strings.TrimSpace(r.PostFormValue("hold")), Reason: b.Reason}, true)
}

func (p *pages) keepTexts(r *http.Request, words *shell.Words, b *textsBody) error {
	days, err := strconv.ParseInt(strings.TrimSpace(r.PostFormValue("days")), 10, 64)
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.texts-number", r.PostFormValue("days")))
	}
	return p.sayOfTexts(r, words, b, &events.RetentionAdopted{Days: days, Reason: b.Reason}, false)
}
