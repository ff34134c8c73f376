package workplacetest

import (
	"fmt"
	"strings"
	"time"

	"listbound/events"
)

// Scanner sends scans to one workplace without a browser.
type Scanner struct {
	House  *House
	Path   string
	Number int
}

func (s *Scanner) All(texts ...string) (a map[string]any) {
	for _, text := range texts {
		s.House.After(3 * time.Second)
		a = s.Scan(text)
	}
	return a
}

// Run begins a load with sets and starts it; a cycle's time goes by.
func (s *Scanner) Run(run string, sets ...string) {
	s.Do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134")
	for _, set := range sets {
		s.House.After(3 * time.Second)
		s.Put(set)
	}
	s.Do("start")
	s.House.After(19 * time.Minute)
}

// Put scans a set into a load, and answers that it goes in where that is asked: the house's sets are sterile.
func (s *Scanner) Put(set string) map[string]any {
	a := s.Scan(Label(s.House.T, events.ScanSet, set))
	if strings.Contains(fmt.Sprint(a["choices"]), "do:put") {
		a = s.Do("put", "value", set)
	}
	return a
}

// Reads scans all of a set but the badge.
func (s *Scanner) Reads(set string) map[string]any {
	return s.All(Label(s.House.T, events.ScanTag, set), Label(s.House.T, events.ScanOuter, set), s.House.Codes[set], "1")
}

// ChoiceOf returns the value of an offered answer that says something, "" where none does.
func ChoiceOf(a map[string]any, says string) string {
	choices, _ := a["choices"].([]any)
	for _, c := range choices {
		if c := c.(map[string]any); strings.Contains(c["words"].(string), says) {
			return c["value"].(string)
		}
	}
	return ""
}

// Load begins a load with sets and ends it.
func (s *Scanner) Load(run, result string, sets ...string) map[string]any {
	s.Do("begin", "sterilizer", "S1", "run", run, "cycle", "c-134")
	for _, set := range sets {
		s.Put(set)
	}
	s.Scan(Label(s.House.T, events.ScanBadge, "B-2043"))
	s.Do("start")
	s.House.After(40 * time.Minute)
	s.Scan(Label(s.House.T, events.ScanBadge, "B-2044"))
	return s.Do("result", "result", result, "released", "yes")
}

func (s *Scanner) Scan(text string) map[string]any {
	s.Number++
	return s.House.Post(s.Path+"/scan", fmt.Sprintf(`{"client":"t","n":%d,"text":%s}`, s.Number, JSONText(text)))
}

func (s *Scanner) Do(action string, fields ...string) map[string]any {
	s.Number++
	var f []string
	for i := 0; i < len(fields); i += 2 {
		f = append(f, JSONText(fields[i])+":"+JSONText(fields[i+1]))
	}
	return s.House.Post(s.Path+"/do", fmt.Sprintf(`{"client":"t","n":%d,"action":%q,"fields":{%s}}`, s.Number, action,
		strings.Join(f, ",")))
}

func JSONText(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\x1d", `\u001d`).Replace(s) + `"`
}
