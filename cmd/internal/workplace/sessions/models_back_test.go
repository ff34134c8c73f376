package sessions_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// returnModel is the model of the page on a set's way back from a case.
type returnModel struct {
	set, step string
	load      string // of the washer
	loadAt    time.Time
	loadBy    string // by whose badge it was said
	basket    string // of the set that lies here, or comes next
	noLoad    bool   // it was said that it is not known
	untreated bool
	faults    []events.ReturnFault
	anew      string // turn of a set that lies ready and goes back, as was said
}

func newReturnModel(w *walk) *returnModel {
	w.openAgain("VAS-003", fmt.Sprintf("R-%d", w.n))
	return new(returnModel)
}

func (m *returnModel) place() string { return "return" }

func (m *returnModel) each() int { return 1 }

func (m *returnModel) busy() bool { return m.set != "" }

func (m *returnModel) clone() player {
	c := *m
	c.faults = slices.Clone(m.faults)
	return &c
}

func (m *returnModel) promised(w *walk, s step, shown workplacetest.Answer) bool {
	return s.enter() && shown.Promises() && !m.loadOld(w, w.operator)
}

// loadOld reports whether the washer's load is asked about again.
func (m *returnModel) loadOld(w *walk, operator string) bool {
	by := m.loadBy != "" && m.loadBy != operator || m.loadBy == "" && w.at.Sub(m.loadAt) > 20*time.Minute
	return m.step == "washed" && m.load != "" && (w.at.Sub(m.loadAt) > time.Hour || by)
}

// whose takes in whose load it is that was said before any badge: theirs who show one first, unless a badge would be
// forgotten by then.
func (m *returnModel) whose(w *walk) {
	if m.load != "" && m.loadBy == "" && w.at.Sub(m.loadAt) <= 20*time.Minute {
		m.loadBy = w.operator
	}
}

func (m *returnModel) lies() bool { return m.set != "" && (m.noLoad || m.onlyThey()) }

func (m *returnModel) onlyThey() bool { return m.untreated || m.basket != "" || len(m.faults) > 0 }

func (m *returnModel) beginAnew(*walk) { m.turn(m.set) }

func (m *returnModel) next(w *walk, shown workplacetest.Answer) step {
	value := func(v string) map[string]string { return map[string]string{"value": v} }
	load := step{verb: "do", action: "load", fields: map[string]string{"washer": pick(w, "w1", "W2"), "run": pick(w, "3", "12", "x")}}
	switch ask := w.careful(); {
	case ask && shown.Says("is packed and not opened"):
		return step{verb: "do", action: pick(w, "anew", "leave"), fields: shown.Choice("anew")}
	case ask && shown.AsksClean():
		return step{verb: "do", action: pick(w, "unclean", "leave"), fields: shown.Choice("unclean")}
	case ask && shown.Says("is looked for"):
		return pick(w, step{verb: "do", action: "lacks", fields: shown.Choice("lacks")},
			step{verb: "do", action: "fault", fields: shown.Choice("fault")}, step{verb: "do", action: "leave"})
	case ask && shown.Says("which step is this?"):
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4", "5")}
	case ask && shown.Says("was it in load"):
		return pick(w, load, step{verb: "do", action: "same-load", fields: shown.Choice("same-load")})
	case ask && shown.Says("which load of which washer?"):
		return pick(w, load, load, step{verb: "do", action: "no-load"})
	case ask && shown.Says("badge"):
		return w.label(events.ScanBadge, pick(w, "B-1", "B-2"))
	case ask && shown.Promises() && w.rng.IntN(3) > 0:
		return step{verb: "scan"}
	}
	if s, ok := w.common(); ok {
		return s
	}
	switch w.rng.IntN(10) {
	case 0, 1, 2, 3:
		return w.label(pick(w, events.ScanTag, events.ScanSet), pick(w, "VAS-003", "LAP-014", "NEW-7"))
	case 4:
		return step{verb: "do", action: "step", fields: value(pick(w, "left-room", "received", "washed", "washed", "inspected", "lost"))}
	case 5:
		return pick(w, step{verb: "scan", text: pick(w, "+1", "+2", "+3", "+4")},
			step{verb: "do", action: "fault", fields: map[string]string{"value": pick(w, "soiled", "damaged",
				"incomplete", "wet"), "on": onOff(w)}})
	case 6:
		return step{verb: "do", action: "untreated", fields: map[string]string{"on": onOff(w)}}
	case 7:
		return pick(w, load, step{verb: "do", action: "no-load"},
			step{verb: "do", action: "basket", fields: map[string]string{"basket": pick(w, "7", " 12 ", "")}})
	case 8:
		return step{verb: "scan", text: pick(w, "1", "3", "7", "12")}
	}
	return step{verb: "do", action: pick(w, "record", "clear", "next-person")}
}

// onOff is what a button says of something seen: that it is so, or not after all.
func onOff(w *walk) string { return pick(w, "yes", "yes", "no") }

// steps as the page numbers them.
var stepsBack = []string{"left-room", "received", "washed", "inspected"}

func (m *returnModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	defer m.whose(w)
	number, _ := strconv.Atoi(s.text)
	value := s.fields["value"]
	switch {
	case a.Says("Read twice"):
	case s.kind == events.ScanSet || s.kind == events.ScanTag:
		if s.id != m.set && a["no"] == nil {
			next := m.basket
			if m.set != "" {
				next = ""
			}
			m.turn(s.id)
			m.basket = next
		}
	case s.action == "basket":
		m.basket = strings.TrimSpace(s.fields["basket"])
	case s.action == "same-load" && m.load != "" && value == m.load:
		m.loadAt, m.loadBy = w.at, w.operator
	case s.action == "clear", s.action == "leave":
		m.turn("")
	case s.action == "anew":
		m.anew = value
	case s.action == "step" && slices.Contains(stepsBack, value):
		m.step = value
	case s.verb == "scan" && shown.Says("which step is this?") && len(s.text) == 1 && number >= 1 && number <= len(stepsBack):
		m.step = stepsBack[number-1]
	case s.verb == "scan" && m.set != "" && shown.AsksAbout() == "" && len(s.text) == 2 && s.text[0] == '+' && s.text[1] <= '3' &&
		a["sound"] != "low":
		m.fault(events.ReturnFaults()[s.text[1]-'1'], true)
	case s.action == "fault" && slices.Contains(events.ReturnFaults(), events.ReturnFault(value)):
		m.fault(events.ReturnFault(value), s.fields["on"] != "no")
	case s.action == "untreated":
		m.untreated = s.fields["on"] != "no"
	case s.action == "no-load":
		m.load, m.noLoad = "", true
	case s.action == "load" && s.fields["run"] != "x":
		m.load = fmt.Sprintf("%s-%s-%02s", strings.ToUpper(s.fields["washer"]), w.at.In(w.h.Site.Zone()).Format("0102"), s.fields["run"])
		m.noLoad, m.loadAt, m.loadBy = false, w.at, w.operator
	}
}

func (m *returnModel) turn(set string) {
	m.set, m.untreated, m.faults, m.noLoad, m.anew, m.basket = set, false, nil, false, "", ""
}

// fault is what a person saw, or took back: seen twice it is seen still.
func (m *returnModel) fault(fault events.ReturnFault, seen bool) {
	m.faults = slices.DeleteFunc(slices.Clone(m.faults), func(f events.ReturnFault) bool { return f == fault && !seen })
	if seen && !slices.Contains(m.faults, fault) {
		m.faults = append(m.faults, fault)
	}
}

func (m *returnModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	d, ok := e.Data.(*events.SetReturned)
	if !ok || !s.enter() && s.action != "record" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if s.enter() && !shown.Says("Enter records") {
		w.fail("Enter recorded what the page did not say: %v", shown["words"])
	}
	if e.Operator == "" || e.Operator != w.badge() || e.Subject != m.set || string(d.Step) != m.step || !slices.Equal(d.Faults, m.faults) {
		w.fail("%s %s by %s, %v; said were %+v by %s", e.Subject, d.Step, e.Operator, d.Faults, m, w.badge())
	}
	if slices.Contains(d.Faults, events.ReturnIncomplete) && w.latest["status"] == "whole" {
		w.fail("a set that lacks a piece is in order: %v", w.latest["words"])
	}
	treated, load, basket := "", "", ""
	switch m.step {
	case "left-room":
		treated = map[bool]string{true: "no", false: "yes"}[m.untreated]
	case "washed":
		if load, basket = m.load, m.basket; load == "" && !m.noLoad {
			w.fail("washed, and nobody said in which load")
		}
		if m.loadOld(w, e.Operator) {
			w.fail("washed by %s in the load that %s said at %s", e.Operator, m.loadBy, m.loadAt)
		}
	}
	if d.Treated != treated || d.WasherLoad != load || d.Basket != basket {
		w.fail("treated %q, load %q, basket %q; said were %q, %q, %q", d.Treated, d.WasherLoad, d.Basket, treated, load, basket)
	}
	if basket != "" && s.enter() && !strings.Contains(fmt.Sprint(shown["more"]), "Basket "+basket) {
		w.fail("basket %s recorded, of which Enter said nothing", basket)
	}
	if load != "" && !strings.Contains(load, "-"+w.at.In(w.h.Site.Zone()).Format("0102")+"-") {
		w.fail("washed in load %s, which is of another day", load)
	}
}

func (m *returnModel) recorded(w *walk) {
	if m.load != "" && m.loadBy == "" {
		m.loadBy = w.operator
	}
	m.turn("")
}

// pieceModel is the model of the page that says what became of a piece.
type pieceModel struct {
	set    string
	line   int64
	item   string
	became string
	n      int64
	where  string
	opened bool // it was said that the set, which lies packed and closed, was opened for it
}

func newPieceModel(w *walk) *pieceModel {
	w.packAgain("VAS-003")
	return new(pieceModel)
}

func (m *pieceModel) place() string { return "pieces" }

func (m *pieceModel) each() int { return 1 }

func (m *pieceModel) busy() bool { return m.set != "" }

func (m *pieceModel) clone() player { c := *m; return &c }

func (m *pieceModel) promised(_ *walk, s step, shown workplacetest.Answer) bool {
	return s.enter() && shown.Promises()
}

func (m *pieceModel) lies() bool { return m.set != "" && (m.n > 0 || m.onlyThey()) }

func (m *pieceModel) onlyThey() bool {
	return m.line > 0 || m.item != "" || m.became != "" || m.where != ""
}

func (m *pieceModel) beginAnew(*walk) { *m = pieceModel{set: m.set} }

func (m *pieceModel) next(w *walk, shown workplacetest.Answer) step {
	f := func(pairs ...string) map[string]string {
		out := make(map[string]string)
		for i := 0; i < len(pairs); i += 2 {
			out[pairs[i]] = pairs[i+1]
		}
		return out
	}
	switch ask := w.careful(); {
	case ask && shown.Says("which line?"):
		return step{verb: "scan", text: pick(w, "1", "2", "3", "9")}
	case ask && shown.Says("Was it opened for that?"):
		return step{verb: "do", action: pick(w, "opened", "opened", "leave"), fields: shown.Choice("opened")}
	case ask && shown.Says("what became of it?"):
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4", "5", "7")}
	case ask && shown.Says("badge"):
		return w.label(events.ScanBadge, pick(w, "B-1", "B-2"))
	case ask && shown.Promises() && w.rng.IntN(3) > 0:
		return step{verb: "scan"}
	}
	if s, ok := w.common(); ok {
		return s
	}
	switch w.rng.IntN(9) {
	case 0, 1, 2:
		return w.label(pick(w, events.ScanTag, events.ScanSet), pick(w, "VAS-003", "VAS-003", "NEW-7"))
	case 3:
		return step{verb: "scan", text: pick(w, "1", "2", "5", "12", "0")}
	case 4:
		return step{verb: "do", action: "item", fields: f("item", pick(w, "ZZ-9", "a b", ""))}
	case 5:
		return step{verb: "do", action: "became", fields: f("value", pick(w, "repair", "back", "replaced", "lost", "found", "gone"))}
	case 6:
		return step{verb: "do", action: "many", fields: f("quantity", pick(w, "1", "2", "0", "x"))}
	case 7:
		return step{verb: "do", action: "about", fields: f("where", pick(w, "sluice", ""), "load", "", "note", "")}
	}
	return step{verb: "do", action: pick(w, "record", "clear", "next-person", "opened", "leave")}
}

func (m *pieceModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	number, err := strconv.ParseInt(s.text, 10, 64)
	typed := s.verb == "scan" && err == nil && len(s.text) <= 3 && shown.AsksAbout() == "" && a["sound"] != "low"
	became := []string{"repair", "back", "replaced", "lost", "found"}
	known := m.line > 0 || m.item != ""
	was := *m
	defer func() {
		if m.became != was.became || m.line != was.line || m.item != was.item {
			m.opened = false // it was said of something else
		}
	}()
	switch {
	case a.Says("Read twice"):
	case s.action == "opened" && s.fields["value"] != "" && shown.Says("Was it opened for that?"):
		m.opened = true
	case s.kind == events.ScanSet || s.kind == events.ScanTag:
		if s.id != m.set && a["no"] == nil {
			if m.set != "" && m.lies() {
				w.fail("%s takes what was said of a piece of %s away", s.id, m.set)
			}
			*m = pieceModel{set: s.id}
		}
	case s.action == "clear", s.action == "leave":
		*m = pieceModel{}
	case s.action == "item" && m.set != "" && s.fields["item"] == "ZZ-9" && (m.line > 0 || m.item != "ZZ-9"):
		if known { // of another piece: what was asked beside is gone, too
			*m, w.plain = pieceModel{set: m.set}, ""
		}
		m.line, m.item, m.n = 0, "ZZ-9", 0
	case s.action == "became" && slices.Contains(became, s.fields["value"]):
		m.became = s.fields["value"]
	case s.action == "many" && strings.Contains("12", s.fields["quantity"]) && a["no"] != true:
		m.n, _ = strconv.ParseInt(s.fields["quantity"], 10, 64)
	case s.action == "about":
		m.where = s.fields["where"]
	case !typed || m.set == "":
	case !known && m.set == "VAS-003" && number >= 1 && number <= 3:
		m.line, m.item, m.n = number, workplacetest.ListShort().Lines[number-1].Item, 0
	case known && m.became == "" && number >= 1 && int(number) <= len(became):
		m.became = became[number-1]
	case shown.Says("Was it opened for that?"):
	case known && m.became != "" && number >= 1 && (m.line == 0 || number <= workplacetest.ListShort().Lines[m.line-1].Quantity):
		m.n = number
	}
}

func (m *pieceModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	d, ok := e.Data.(*events.PieceReported)
	if !ok || !s.enter() && s.action != "record" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if s.enter() && !shown.Says("Enter records") {
		w.fail("Enter recorded what the page did not say: %v", shown["words"])
	}
	if e.Operator == "" || e.Operator != w.badge() || e.Subject != m.set || d.Line != m.line || d.Item != m.item ||
		string(d.Became) != m.became || d.Quantity != max(m.n, 1) || d.Place != m.where {
		w.fail("%s: %+v by %s; said was %+v by %s", e.Subject, d, e.Operator, m, w.badge())
	}
	if m.line > 0 && d.Quantity > workplacetest.ListShort().Lines[m.line-1].Quantity {
		w.fail("%d of line %d, which has %d", d.Quantity, m.line, workplacetest.ListShort().Lines[m.line-1].Quantity)
	}
	if m.set == "VAS-003" && (m.became == "repair" || m.became == "replaced") && !m.opened {
		w.fail("a piece of a set that lies closed was %s, and nobody said that it was opened", m.became)
	}
	if m.became == "lost" && w.latest["status"] == "whole" {
		w.fail("a missed piece is in order: %v", w.latest["words"])
	}
}

func (m *pieceModel) recorded(*walk) { *m = pieceModel{} }
