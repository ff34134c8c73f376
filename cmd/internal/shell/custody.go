package shell

import (
	"strings"

	"listbound/cmd/internal/bundle"
)

// Custody says whose key lies where, and who outside has seen the ledger, a sentence each.
func (w *Words) Custody(c *bundle.Custody) []string {
	out := []string{w.T("shell.custody-ledger")}
	if len(c.Server) > 0 {
		out = append(out, w.T("shell.custody-server", strings.Join(c.Server, ", ")))
	}
	if len(c.Own) > 0 {
		out = append(out, w.T("shell.custody-own", strings.Join(c.Own, ", ")))
	}
	for _, x := range c.Witnesses {
		out = append(out, w.T("shell.custody-witness", x.Name, x.Size, w.Time(x.At)))
	}
	if t := c.Timestamp; t != nil {
		out = append(out, w.T("shell.custody-timestamp", t.Size, w.Time(t.At)))
	}
	if len(c.Witnesses) == 0 && c.Timestamp == nil {
		out = append(out, w.T("shell.custody-nobody"))
	}
	return out
}
