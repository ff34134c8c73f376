package board

import (
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// A station that signs for itself corrects its own as it records: the form is sent, answered by what is to be signed, and sent once more
// with the record (workplace/assets/amend.js).

const signingScript = "/workplace/amend.js"

// ownKey names the key of a station that signs for itself, "" where the server has it.
func (p *pages) ownKey(r *http.Request, station string) (string, error) {
	all, err := p.site.Stations(r.Context())
	i := slices.IndexFunc(all, func(s site.Station) bool { return s.Name == station })
	if err != nil || i < 0 || all[i].Here {
		return "", err
	}
	return site.KeyID(all[i].Key), nil
}

// signedThere returns a request of a station's own browser, which records what the station signs. One of another browser, or of one that
// runs no scripts, is refused: it could sign nothing.
func (p *pages) signedThere(w http.ResponseWriter, r *http.Request, words *shell.Words, b *correctBody) (*http.Request, error) {
	if b.OwnKey == "" {
		return r, nil
	}
	if r.Header.Get(site.KeyHeader) != b.OwnKey {
		return r, refuse(http.StatusForbidden, "%s", words.T("workplace.own-key", b.Station))
	}
	if raw := r.PostFormValue("signed"); raw != "" {
		if err := json.Unmarshal([]byte(raw), &b.signed); err != nil {
			return r, refuse(http.StatusBadRequest, "%s", words.T("workplace.own-odd"))
		}
	}
	return r.WithContext(site.WithOwnKey(r.Context(), b.Station, b.signed)), nil
}

// at is when a correction is said.
func (b *correctBody) at(p *pages) time.Time {
	return site.SignedOf(b.signed, p.site.Clock().UTC().Truncate(time.Millisecond))
}

// toSign tells a station's browser where its numbering stands, and answers with what is to be signed, where nothing is recorded before.
func (p *pages) toSign(w http.ResponseWriter, r *http.Request, b *correctBody, err error) bool {
	if b.OwnKey == "" {
		return false
	}
	head, e := p.site.Head(r.Context(), b.Station)
	if e != nil {
		p.sh.FailJSON(w, r, e)
		return true
	}
	w.Header().Set(site.HeadHeader, head.String())
	unsigned := new(site.UnsignedError)
	if !errors.As(err, &unsigned) {
		return false
	}
	p.sh.WriteJSON(w, r, http.StatusOK, map[string]any{"sign": unsigned.Events})
	return true
}

// PINGiven reports whether a badge's PIN was given at a station not too long before a moment.
type PINGiven func(station, badge string, at time.Time) bool

// needPIN refuses, on a station's page, a badge whose PIN was not given there, where the policy asks for it.
func (p *pages) needPIN(r *http.Request, words *shell.Words, b *correctBody) error {
	if p.pins == nil || b.Station == "" || b.Badge == "" {
		return nil
	}
	now, asked := p.site.Clock(), false
	err := p.site.Ask(func(v *site.View) error {
		in, _, err := v.World(r.Context()).PolicyAt(site.SiteOf(b.Station), now)
		asked = err == nil && in.PINAtStations
		return err
	})
	if err == nil && asked && !p.pins(b.Station, b.Badge, now) {
		err = refuse(http.StatusForbidden, "%s", words.T("board.correct-pin", b.Badge))
	}
	return err
}
