package board

import (
	"net/http"
	"net/url"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// heldBody is all that is held about a badge: records by as what it stands in them, accounts, texts, drafts.
type heldBody struct {
	ID       string
	Records  *table
	Held     *site.Held
	Accounts []shell.Account
}

func (p *pages) heldPage(r *http.Request, words *shell.Words) (*answer, error) {
	b := &heldBody{ID: r.URL.Query().Get("id")}
	if b.ID == "" {
		return nil, refuse(http.StatusBadRequest, "%s", words.T("board.badge-needed"))
	}
	var err error
	if b.Held, err = p.site.HeldAbout(r.Context(), b.ID); err != nil {
		return nil, err
	}
	if p.sh.Accounts != nil {
		if b.Accounts, err = p.sh.Accounts(b.ID); err != nil {
			return nil, err
		}
	}
	b.Records = newTable(words, "held", "board.held-table", "held-as", "what-happened", "held-count", "held-first", "held-last")
	for _, h := range b.Held.Records {
		link := badgeLink(b.ID)
		if h.As != "operator" {
			link = "/badge?" + url.Values{"id": {b.ID}, "as": {h.As}}.Encode()
		}
		b.Records.add(text(words.T("board.held-as-"+h.As)).to(link), text(kindText(words, string(h.Kind))), number(int64(h.Records)),
			when(words, h.First), when(words, h.Last))
	}
	return &answer{template: "held", title: words.T("board.held", b.ID), body: b, tables: []*table{b.Records}}, nil
}
