package board

import (
	"time"

	"listbound/cmd/internal/shell"
	"listbound/events"
)

// claimed is access that somebody claimed in an emergency. It stands on the board whatever was recorded by it: without the
// PIN, say, no register lacks anything.
type claimed struct {
	Badge, Station, Reason string
	At                     time.Time
	Seq                    int64
}

const claimsShown = 24 * time.Hour

func (p *pages) claims(words *shell.Words, seqs []int64) (out []claimed, err error) {
	for _, seq := range seqs {
		e, err := p.site.EventAt(seq)
		if err != nil {
			return nil, err
		}
		d, ok := e.Data.(*events.AccessClaimed)
		if !ok {
			continue
		}
		c := claimed{Badge: d.Badge, Station: e.Station, Reason: words.Elsewhere(d.Reason), At: e.Time, Seq: seq}
		if events.IsMark(c.Reason) { // it was taken out
			c.Reason = ""
		}
		out = append(out, c)
	}
	return out, nil
}
