package board

import (
	"net/http"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/events"
)

// whoAndWhy reads the badge and the reason in a form. A scanned badge counts as what it says.
func whoAndWhy(r *http.Request) (badge, reason string) { return whoAndWhyIn(r, "") }

// whoAndWhyIn is whoAndWhy of a form whose fields for that are named with a prefix.
func whoAndWhyIn(r *http.Request, prefix string) (badge, reason string) {
	badge, reason = strings.TrimSpace(r.PostFormValue(prefix+"badge")), strings.TrimSpace(r.PostFormValue(prefix+"reason"))
	return scannedBadge(badge), reason
}

// scannedBadge is a badge as it was typed, or what its symbol says.
func scannedBadge(text string) string {
	if s, err := events.Recognise(text, events.ScanBadge); err == nil {
		return s.Value
	}
	return text
}

// again shows the page of a form after what it asked for, which may have failed: problem is where the page says why.
func (p *pages) again(
	w http.ResponseWriter, r *http.Request, words *shell.Words, err error, problem *string, page func() (*answer, error),
) {
	said := refusal.Answer{Code: http.StatusOK}
	if err != nil {
		said = p.sh.PageAnswer(r, err)
		*problem = said.Text
	}
	switch a, failed := page(); {
	case failed == nil:
		said.Head(w.Header())
		p.render(w, r, said.Code, a)
	case err == nil:
		p.refuse(w, r, words, failed)
	default:
		p.refused(w, r, words, said)
	}
}
