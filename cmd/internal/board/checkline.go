package board

import (
	"fmt"
	"net/http"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/shell"
)

// checkLineBody is what is noted down of the ledger outside of it.
type checkLineBody struct {
	At          time.Time
	Size        int64
	Root        string
	Line, Key   string
	Symbol      paper.Symbol // of the line
	KeySymbol   paper.Symbol
	Ledger      string
	ShowCommand string
}

// checkLinePage shows the ledger's size, root and key as they are now, to print, hang up or send to somebody.
func (p *pages) checkLinePage(r *http.Request, words *shell.Words) (*answer, error) {
	line, err := p.site.CheckLine(r.Context())
	if err != nil {
		return nil, err
	}
	root, err := p.site.RootAt(r.Context(), line.Size)
	if err != nil {
		return nil, err
	}
	b := &checkLineBody{
		At: p.site.Clock(), Size: line.Size, Root: fmt.Sprintf("%x", root[:]), Line: line.Printed(), Key: p.site.Key(),
		Ledger: p.site.Name(), ShowCommand: `listbound verify --sheet "` + line.Printed() + `"`,
	}
	if b.Symbol, err = paper.SymbolOf(line.String()); err == nil {
		b.KeySymbol, err = paper.SymbolOf(b.Key)
	}
	return &answer{template: "check-line", title: words.T("board.check-title"), body: b}, err
}
