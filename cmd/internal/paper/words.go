package paper

import (
	"fmt"
	"strings"
	"time"

	"listbound/events"
)

// Language chooses the words of a print. Lists are printed as they were
// written; only the paper's own words change.
type Language string

// The languages that are complete.
const (
	English Language = "en"
	German  Language = "de"
)

// Languages lists them.
func Languages() []Language { return []Language{English, German} }

// ParseLanguage reads a language tag such as "de" or "de-AT".
func ParseLanguage(s string) (Language, error) {
	primary, _, _ := strings.Cut(strings.ToLower(s), "-")
	for _, l := range Languages() {
		if primary == string(l) {
			return l, nil
		}
	}
	return "", fmt.Errorf("language %q is not one the paper speaks; it is en or de", s)
}

// words is everything a print says of its own.
type words struct {
	CountSheet, SetLabel, LoadLabel       string
	List, Version, Packed, By, Started    string
	Travels, Seals, NoSeals               string
	ShortCode, Code                       string
	No, Instrument, Quantity              string
	First, Added, Cavity, Closing, Final  string
	CountedBy, WitnessedBy, Time, Remarks string
	OfQuantity                            string // %d: what the list says
	PackedOf                              string // reason, packed, listed
	Missing, Substituted, Damaged         string
	Differs                               string // how many, which lines
	Caution                               string
	Page                                  string // page, pages
	Sheet, Sterilizer, Run, Cycle         string
	InsideBag, InsideBare, Outside        string
	Screen                                string
	Months                                [12]string
	DateForm                              string // day, month, year
	ShortMonths                           [12]string
	ShortForm                             string // day, month, year
}

var english = words{
	CountSheet: "COUNT SHEET", SetLabel: "SET", LoadLabel: "STERILIZER LOAD",
	List: "List", Version: "version", Packed: "Packed", By: "by", Started: "Started",
	Travels: "This sheet travels", Seals: "Seals", NoSeals: "none",
	ShortCode: "Short code", Code: "Sheet code",
	No: "No.", Instrument: "Instrument", Quantity: "Packed",
	First: "First", Added: "Added", Cavity: "Cavity", Closing: "Closing", Final: "Final",
	CountedBy: "Counted by (badge)", WitnessedBy: "Witnessed by (badge)", Time: "Time", Remarks: "Remarks",
	OfQuantity: "of %d", PackedOf: "▲ %s: %d packed, the list says %d",
	Differs: "▲ Packed otherwise than listed: %d (line %s)",
	Missing: "missing", Substituted: "substituted", Damaged: "damaged",
	Caution: "A correct count does not prove that nothing was retained. Follow your facility's policy.",
	Page:    "Page %d of %d",
	Sheet:   "Sheet", Sterilizer: "Sterilizer", Run: "Run", Cycle: "Cycle",
	InsideBag: "inside the set, in a medical-grade paper bag", InsideBare: "inside the set, without a bag",
	Outside: "outside, in the holder", Screen: "not at all: the list is read from the screen, this print is a copy",
	Months: [12]string{"January", "February", "March", "April", "May", "June", "July", "August", "September",
		"October", "November", "December"},
	DateForm: "%d %s %d",
	ShortMonths: [12]string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep",
		"Oct", "Nov", "Dec"},
	ShortForm: "%02d %s %d",
}

var german = words{
	CountSheet: "ZÄHLLISTE", SetLabel: "SIEB", LoadLabel: "STERILISATORCHARGE",
	List: "Liste", Version: "Version", Packed: "Gepackt", By: "von", Started: "Start",
	Travels: "Ort dieser Liste", Seals: "Plomben", NoSeals: "keine",
	ShortCode: "Kurzcode", Code: "Listencode",
	No: "Nr.", Instrument: "Instrument", Quantity: "Gepackt",
	First: "Erste", Added: "Zugabe", Cavity: "Höhle", Closing: "Verschluss", Final: "Letzte",
	CountedBy: "Gezählt von (Ausweis)", WitnessedBy: "Bezeugt von (Ausweis)", Time: "Uhrzeit", Remarks: "Bemerkungen",
	OfQuantity: "von %d", PackedOf: "▲ %s: %d gepackt, laut Liste %d",
	Differs: "▲ Anders gepackt als gelistet: %d (Zeile %s)",
	Missing: "fehlt", Substituted: "ersetzt", Damaged: "beschädigt",
	Caution: "Eine stimmige Zählung beweist nicht, dass nichts zurückblieb. Es gilt die Regelung Ihres Hauses.",
	Page:    "Seite %d von %d",
	Sheet:   "Zählliste", Sterilizer: "Sterilisator", Run: "Lauf", Cycle: "Programm",
	InsideBag: "innen, im medizinischen Papierbeutel", InsideBare: "innen, ohne Beutel",
	Outside: "außen, in der Halterung", Screen: "keiner: gezählt wird am Bildschirm, dieser Druck ist eine Kopie",
	Months: [12]string{"Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September",
		"Oktober", "November", "Dezember"},
	DateForm:    "%d. %s %d",
	ShortMonths: [12]string{"01.", "02.", "03.", "04.", "05.", "06.", "07.", "08.", "09.", "10.", "11.", "12."},
	ShortForm:   "%02d.%s%d",
}

func (l Language) words() (*words, error) {
	switch l {
	case English:
		return &english, nil
	case German:
		return &german, nil
	}
	_, err := ParseLanguage(string(l))
	if err == nil {
		err = fmt.Errorf("language %q: read it with ParseLanguage first", l)
	}
	return nil, err
}

// date writes a moment out, in the zone it was given in and with that zone's
// name: a print outlives its station.
func (w *words) date(t time.Time) string {
	return fmt.Sprintf(w.DateForm, t.Day(), w.Months[t.Month()-1], t.Year()) + t.Format(", 15:04 MST")
}

// shortDate is for labels. English months are written in letters, since 03/02
// is read as two different days.
func (w *words) shortDate(t time.Time) string {
	return fmt.Sprintf(w.ShortForm, t.Day(), w.ShortMonths[t.Month()-1], t.Year()) + t.Format(" 15:04 MST")
}

func (w *words) placement(p events.Placement) string {
	switch p {
	case events.InsideBag:
		return w.InsideBag
	case events.InsideBare:
		return w.InsideBare
	case events.Outside:
		return w.Outside
	case events.Screen:
		return w.Screen
	}
	return string(p)
}

// reason translates the reasons everyone uses; a site's own word stays.
func (w *words) reason(s string) string {
	switch s {
	case "missing":
		return w.Missing
	case "substituted":
		return w.Substituted
	case "damaged":
		return w.Damaged
	}
	return s
}
