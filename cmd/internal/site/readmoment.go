package site

import (
	"regexp"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
)

// momentForms are the ways in which people write a day and a time, besides RFC 3339.
var momentForms = []string{time.RFC3339Nano, "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04",
	time.DateOnly, "02.01.2006 15:04", "02.01.2006", "2 Jan 2006 15:04", "2 Jan 2006"}

// plusLost is an offset whose plus sign stood in an address as it is, and came as a blank.
var plusLost = regexp.MustCompile(`^(\S+T\S+) (\d\d:\d\d)$`)

// ParseMoment reads a day and a time, in a zone where it says none; a day alone is its beginning. ok is false for what is none.
func ParseMoment(text string, zone *time.Location) (at time.Time, ok bool) {
	text = plusLost.ReplaceAllString(strings.TrimSpace(text), "$1+$2")
	for _, form := range momentForms {
		if t, err := time.ParseInLocation(form, text, zone); err == nil {
			return t.UTC(), true
		}
	}
	return time.Time{}, false
}

// ReadMoment reads the moment that somebody asks about, as pages and programs write it: as ParseMoment reads it in the site's
// zone, or a time of day alone, which is the last such before the moment of the verdicts. What is empty is zero.
func (s *Site) ReadMoment(text string) (time.Time, error) {
	if strings.TrimSpace(text) == "" {
		return time.Time{}, nil
	}
	if at, ok := ParseMoment(text, s.Zone()); ok {
		return at, nil
	}
	clock, err := time.Parse("15:04", strings.TrimSpace(text))
	if err != nil {
		return time.Time{}, refusal.Keyed("moment",
			"%q is no moment; write it as 2026-03-04T07:12:00Z, 2026-03-04 07:12, 2026-03-04 (its beginning) or 07:12 (the last one)", text)
	}
	now, err := Answer(s, func(v *View) (time.Time, error) { return v.Moment(), nil })
	if err != nil {
		return time.Time{}, err
	}
	y, m, d := now.In(s.Zone()).Date()
	at := time.Date(y, m, d, clock.Hour(), clock.Minute(), 0, 0, s.Zone())
	if at.After(now) {
		at = time.Date(y, m, d-1, clock.Hour(), clock.Minute(), 0, 0, s.Zone())
	}
	return at.UTC(), nil
}
