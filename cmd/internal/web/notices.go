package web

import (
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// notices says what everybody who looks at a page has to know of the ledger itself.
func notices(s *site.Site, words *shell.Words) (out []string) {
	for _, n := range s.Notices() {
		text := ""
		switch n.What {
		case site.NoticedBehind:
			text = words.T("shell.notice-behind", n.First)
		case site.NoticedDamage:
			text = words.T("shell.notice-damaged", n.First)
		case site.NoticedNoRoom:
			text = words.T("shell.notice-no-room")
		case site.NoticedReading:
			text = words.T("shell.notice-stopped", n.First)
		case site.NoticedCheck:
			text = words.T("shell.notice-check", words.Time(n.At), n.First)
		case site.NoticedTexts:
			text = words.T("shell.notice-texts", n.More, n.Record)
		case site.NoticedLost:
			text = words.T("shell.notice-lost", n.Lost.Had, n.Lost.Size, words.Time(n.At), n.By, n.Lost.Reason)
		}
		out = append(out, text)
	}
	return out
}
