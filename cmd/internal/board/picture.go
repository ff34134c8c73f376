package board

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"listbound/cmd/internal/shell"
	"listbound/projections"
)

// The sheet that pictures are drawn on.
const (
	pictureWidth = 1200.0
	laneLeft     = 128.0 // the lanes' names stand left of it
	laneRight    = 1180.0
)

// chainPicture draws one trip: above the links as a chain, evenly spaced so
// that each can be read; below them the same moments on the axis, joined to
// their links by thin lines; then the looks at the sheet, the places, and the
// findings over the time in which each can have come about.
type chainPicture struct {
	svg
	words    *shell.Words
	t        projections.Trace
	v        projections.Verdict
	events   []projections.HistoryEvent
	tolerant time.Duration
	axis     *axis
	y        float64
	said     []string
	faults   faults
}

func drawChain(words *shell.Words, t projections.Trace, v projections.Verdict, events []projections.HistoryEvent,
	tolerant time.Duration, n int) template.HTML {
	p := &chainPicture{words: words, t: t, v: v, events: events, tolerant: tolerant, faults: faultsOf(t, v)}
	p.w = pictureWidth
	var at []time.Time
	for _, e := range events {
		at = append(at, e.Observed)
		if !sameClock(e, tolerant) {
			at = append(at, e.Recorded)
		}
	}
	for _, s := range t.Stays {
		at = append(at, s.From, s.To)
	}
	for _, l := range t.Links {
		at = append(at, l.At)
	}
	p.axis = newAxis(laneLeft, laneRight, at)
	p.links()
	p.clock()
	p.readings()
	p.stays()
	p.findings()
	p.h = p.y + 8
	return p.picture(fmt.Sprintf("chain-%d", n+1), words.T("board.picture-of", t.Key.Set), strings.Join(p.said, " "))
}

func (p *chainPicture) lane(name string) {
	p.text(laneLeft-14, p.y+5, "end", 14, soft, p.words.T("board.lane-"+name), bold)
}

// faults says which links and which joints (the ring before the link of that
// place) findings are drawn at.
type faults struct{ links, joints []string }

// faultsOf places each finding where it showed: at the last of the trip's links
// among its records, since the earlier ones only tell what it is held against;
// a finding that shows in no link, behind the last link before it.
func faultsOf(t projections.Trace, v projections.Verdict) faults {
	f := faults{make([]string, len(t.Links)), make([]string, len(t.Links)+1)}
	worse := func(at *string, sev string) {
		if *at != "broken" {
			*at = sev
		}
	}
	for _, x := range v.Findings {
		if x.Severity == projections.SeverityNoted || x.Code == projections.LinkMissing {
			continue
		}
		at, before := -1, -1
		for i, l := range t.Links {
			if l.State != projections.LinkThere {
				continue
			}
			if slices.Contains(x.Events, l.Seq) {
				at = i
			}
			if !l.At.After(x.To) {
				before = i
			}
		}
		sev := string(x.Severity)
		switch {
		case at >= 0:
			worse(&f.links[at], sev)
			worse(&f.joints[at], sev)
		case len(t.Links) > 0:
			worse(&f.joints[before+1], sev)
		}
	}
	return f
}

const (
	linkTop    = 14.0
	linkHeight = 60.0
)

func (p *chainPicture) links() {
	n := len(p.t.Links)
	p.y = linkTop + linkHeight/2
	p.lane("links")
	if n == 0 {
		p.y = linkTop + linkHeight + 60
		return
	}
	slot := (laneRight - laneLeft) / float64(n)
	width := min(slot-36, 150)
	x := func(i int) float64 { return laneLeft + slot*(float64(i)+0.5) }
	// The rings between two links lie behind them.
	for i := 1; i < n; i++ {
		p.joint(x(i-1)+width/2-9, x(i)-width/2+9, p.jointState(i))
	}
	for i, l := range p.t.Links {
		p.link(x(i), width, l, p.faults.links[i])
	}
	const textLine = 17.0
	top := linkTop + linkHeight
	for i, l := range p.t.Links {
		if l.State != projections.LinkThere {
			continue
		}
		p.text(x(i), top+textLine, "middle", 14, ink, p.words.Short(l.At))
		p.text(x(i), top+2*textLine, "middle", 13, soft, cut(p.words.Place(l.Place), slot-6, 13))
		p.text(x(i), top+3*textLine-1, "middle", 13, soft, cut(l.By, slot-6, 13))
		p.said = append(p.said, p.words.T("board.desc-link", p.words.Kind(l.Kind), p.words.Time(l.At), p.words.Place(l.Place)))
	}
	// Thin lines lead from each link to its moment.
	axisY := top + 3*textLine + 44
	for i, l := range p.t.Links {
		if l.State == projections.LinkThere {
			p.path(fmt.Sprintf("M%.1f %.1fL%.1f %.1f", x(i), top+3*textLine+5, p.axis.x(l.At), axisY-8), "none", faint,
				1)
		}
	}
	p.y = axisY
}

func (p *chainPicture) jointState(i int) string {
	a, b := p.t.Links[i-1], p.t.Links[i]
	switch {
	case p.faults.joints[i] == "broken":
		return "broken"
	case a.State == projections.LinkAbsent || b.State == projections.LinkAbsent:
		return "missing"
	case a.State == projections.LinkDue || b.State == projections.LinkDue:
		return "due"
	}
	return "whole"
}

// joint draws the ring between two links: closed, torn, not there, or to come.
func (p *chainPicture) joint(x1, x2 float64, state string) {
	y, h := linkTop+linkHeight/2, 20.0
	switch state {
	case "missing":
		return
	case "due":
		p.rect(x1, y-h/2, x2-x1, h, "none", faint, `rx="10"`, `stroke-width="2"`, `stroke-dasharray="1 6"`,
			`stroke-linecap="round"`)
	case "broken":
		m := (x1 + x2) / 2
		p.path(fmt.Sprintf("M%.1f %.1fH%.1fa10 10 0 0 0 0 20H%.1fl-5-6 4-5-5-4z", m-7, y-h/2, x1+10, m-6), white, red,
			4)
		p.path(fmt.Sprintf("M%.1f %.1fH%.1fa10 10 0 0 1 0 20H%.1fl5-5-4-6 5-4z", m+7, y-h/2, x2-10, m+7), white, red, 4)
	default:
		p.rect(x1, y-h/2, x2-x1, h, "none", ink, `rx="10"`, `stroke-width="5"`)
	}
}

func (p *chainPicture) link(x, width float64, l projections.TraceLink, fault string) {
	name := p.words.Kind(l.Kind)
	left, rounded := x-width/2, `rx="23"`
	p.b.WriteString("<g>") // the link and its words
	switch l.State {
	case projections.LinkAbsent:
		p.rect(left, linkTop, width, linkHeight, white, red, rounded, `stroke-width="3"`, `stroke-dasharray="10 7"`)
		p.linkWords(x, width, name, p.words.T("board.missing"), red)
		p.said = append(p.said, p.words.T("board.desc-missing", name))
		fault = "broken"
	case projections.LinkDue:
		p.rect(left, linkTop, width, linkHeight, white, faint, rounded, `stroke-width="2"`, `stroke-dasharray="1 6"`,
			`stroke-linecap="round"`)
		p.linkWords(x, width, name, p.words.T("board.due"), soft)
		p.said = append(p.said, p.words.T("board.desc-due", name))
		fault = ""
	default:
		stroke := ink
		if fault == "broken" {
			stroke = red
		}
		p.rect(left, linkTop, width, linkHeight, white, stroke, rounded, `stroke-width="6"`)
		p.linkWords(x, width, name, "", ink)
	}
	p.b.WriteString("</g>")
	if fault != "" {
		p.sign(x+width/2-4, linkTop+4, fault)
	}
}

// linkWords writes a link's name, in two lines where one has no room, and below it
// what is the matter with it.
func (p *chainPicture) linkWords(x, width float64, name, state, fill string) {
	const (
		line = 17.0
		wide = 0.7 // of a letter, in bold, by its size
	)
	lines := []string{name}
	room := width - 22
	if float64(utf8.RuneCountInString(name))*16*wide > room {
		lines = halves(name)
	}
	if state != "" {
		lines = append(lines, state)
	}
	y := linkTop + linkHeight/2 + 5 - line*float64(len(lines)-1)/2
	for i, text := range lines {
		size := min(16, room/(wide*float64(max(1, utf8.RuneCountInString(text)))))
		p.text(x, y+line*float64(i), "middle", size, fill, text, bold)
	}
}

// halves breaks a text at the blank next to its middle.
func halves(text string) []string {
	at := -1
	for i, r := range text {
		if r == ' ' && (at < 0 || abs(2*i-len(text)) < abs(2*at-len(text))) {
			at = i
		}
	}
	if at < 0 {
		return []string{text}
	}
	return []string{text[:at], text[at+1:]}
}

func abs(n int) int { return max(n, -n) }

// clock draws the axis, what was observed on it, and under it where the ledger
// took a record at another time.
func (p *chainPicture) clock() {
	y := p.y
	p.lane("observed")
	late := false
	p.scale(y)
	for _, e := range p.events {
		x := p.axis.x(e.Observed)
		p.group(fmt.Sprintf("%d: %s", e.Seq, p.words.Event(&e)), func() { p.event(x, y, e) })
		late = late || !sameClock(e, p.tolerant)
	}
	p.y = y + 36
	if !late {
		p.y += 22
		return
	}
	p.y += 32
	p.lane("recorded")
	for _, e := range p.events {
		if sameClock(e, p.tolerant) {
			continue
		}
		x, rx := p.axis.x(e.Observed), p.axis.x(e.Recorded)
		p.path(fmt.Sprintf("M%.1f %.1fL%.1f %.1f", x, y+7, rx, p.y-6), "none", blue, 1.5, `stroke-dasharray="5 3"`)
		p.group(fmt.Sprintf("%d: %s", e.Seq, p.words.T("board.recorded-at", p.words.Time(e.Recorded))), func() {
			p.rect(rx-5, p.y-6, 10, 10, white, blue, `stroke-width="2"`)
		})
		p.text(rx+9, p.y+4, "start", 12, blue, span(p.words, e.Recorded.Sub(e.Observed)))
		p.said = append(p.said, p.words.T("board.desc-late", e.Seq, p.words.Time(e.Observed), p.words.Time(e.Recorded)))
	}
	p.y += 28
}

// scale draws the axis with its ticks, days and cuts.
func (p *chainPicture) scale(y float64) {
	const dayWidth = 72.0
	day, free := "", 0.0
	for i, q := range p.axis.pieces {
		p.line(q.x1-6, y, q.x2+6, y, ink, 2)
		for _, t := range q.ticks() {
			x := p.axis.x(t)
			p.line(x, y, x, y+6, ink, 1)
			p.text(x, y+20, "middle", 12, soft, p.words.Clock(t))
		}
		if d := p.words.Weekday(q.from); d != day && q.x1-6 >= free {
			x := min(q.x1-6, laneRight-dayWidth+14)
			p.text(x, y+36, "start", 12, ink, d, bold)
			day, free = d, x+dayWidth
		}
		if i > 0 {
			p.axisCut(p.axis.pieces[i-1], q, y)
		}
	}
}

func (p *chainPicture) axisCut(a, b piece, y float64) {
	m := (a.x2 + b.x1) / 2
	p.line(a.x2+6, y, m-6, y, faint, 1.5, `stroke-dasharray="2 3"`)
	p.line(m+6, y, b.x1-6, y, faint, 1.5, `stroke-dasharray="2 3"`)
	p.path(fmt.Sprintf("M%.1f %.1fl5-16m3 16l5-16", m-6, y+8), "none", ink, 2)
	p.text(m, y-12, "middle", 11, soft, span(p.words, b.from.Sub(a.to)))
}

// event marks one record on the axis: a disc; a ring for one that has been
// corrected, crossed out when void.
func (p *chainPicture) event(x, y float64, e projections.HistoryEvent) {
	switch {
	case e.Voided != 0:
		p.circle(x, y, 5, white, ink, 2)
		p.path(fmt.Sprintf("M%.1f %.1fl14-14m0 14l-14-14", x-7, y+7), "none", ink, 2)
		p.said = append(p.said, p.words.T("board.desc-voided", e.Seq, e.Voided))
	case e.Replaced != 0:
		p.circle(x, y, 6, white, ink, 2.5)
		p.circle(x, y, 2.5, ink, ink, 1)
		p.said = append(p.said, p.words.T("board.desc-replaced", e.Seq, e.Replaced))
	default:
		p.circle(x, y, 5, ink, white, 1)
	}
}

// rows spreads labels of a width over rows so that none lies on another.
type rowsOf struct{ ends []float64 }

func (r *rowsOf) place(x1, x2 float64) int {
	for i := range r.ends {
		if r.ends[i] <= x1 {
			r.ends[i] = x2
			return i
		}
	}
	r.ends = append(r.ends, x2)
	return len(r.ends) - 1
}

func (p *chainPicture) readings() {
	if len(p.t.Readings) == 0 {
		return
	}
	p.lane("sheet")
	var rows rowsOf
	for _, r := range p.t.Readings {
		x := p.axis.x(r.At)
		label := p.words.T("board.result-" + string(r.Result))
		if r.Owner != nil {
			label = p.words.T("board.sheet-of", r.Owner.Set)
		}
		w := float64(len([]rune(label)))*7.4 + 30
		left := min(x, laneRight-w)
		row := rows.place(left-8, left+w)
		y := p.y + float64(row)*34
		p.group(label, func() { p.page(left, y, r.Result) })
		if left < x-4 {
			p.line(left+12, y-12, x, y-22, faint, 1)
		}
		p.text(left+16, y+5, "start", 13, inkOf(r.Result), label, bold)
		p.said = append(p.said, p.words.T("board.desc-reading", p.words.Time(r.At), p.words.Place(r.Place), label))
	}
	p.y += float64(max(len(rows.ends), 1))*34 + 6
}

func inkOf(r projections.Result) string {
	switch r {
	case projections.ResultRight:
		return green
	case projections.ResultNone:
		return soft
	case projections.ResultUnreadable:
		return amber
	}
	return red
}

// page draws a sheet of paper with what was found of it.
func (p *chainPicture) page(x, y float64, r projections.Result) {
	dash := ""
	if r == projections.ResultAbsent || r == projections.ResultNone {
		dash = `stroke-dasharray="3 3"`
	}
	p.path(fmt.Sprintf("M%.1f %.1fh12l6 6v18h-18z", x-9, y-12), white, ink, 1.8, dash)
	switch r {
	case projections.ResultRight:
		p.sign(x+4, y+4, "")
	case projections.ResultNone:
		p.text(x, y+7, "middle", 14, soft, "–", bold)
	case projections.ResultUnreadable:
		p.sign(x+4, y+4, "doubtful")
	default:
		p.sign(x+4, y+4, "broken")
	}
}

func (p *chainPicture) stays() {
	if len(p.t.Stays) == 0 {
		return
	}
	p.lane("place")
	for i, s := range p.t.Stays {
		x1, x2 := p.axis.x(s.From), p.axis.x(s.To)
		fill := white
		if i%2 == 0 {
			fill = pale
		}
		label, place := fmt.Sprint(i+1), p.words.Place(s.Place)
		p.group(fmt.Sprintf("%d: %s, %s", i+1, place, p.words.Time(s.From)), func() {
			p.rect(x1, p.y-11, x2-x1, 22, fill, soft, `stroke-width="1"`)
			if long := cut(label+" "+place, x2-x1-8, 12); long != "" {
				p.text(x1+4, p.y+4, "start", 12, ink, long)
			}
		})
		p.said = append(p.said, p.words.T("board.desc-stay", i+1, place, p.words.Time(s.From), p.words.Time(s.To)))
	}
	p.y += 34
}

func (p *chainPicture) findings() {
	shown := 0
	for _, f := range p.v.Findings {
		if f.Severity == projections.SeverityNoted && shown > 0 {
			continue
		}
		if f.From.IsZero() && f.To.IsZero() || shown == 6 {
			continue
		}
		if shown == 0 {
			p.lane("findings")
		}
		shown++
		p.finding(f)
	}
}

func (p *chainPicture) finding(f projections.Finding) {
	x1, x2 := laneLeft, laneRight
	if !f.From.IsZero() {
		x1 = p.axis.x(f.From)
	}
	if !f.To.IsZero() {
		x2 = p.axis.x(f.To)
	}
	stroke := soft
	switch f.Severity {
	case projections.SeverityBroken:
		stroke = red
	case projections.SeverityDoubtful:
		stroke = amber
	}
	label := p.words.Code(f.Code)
	says := p.words.Finding(&f).Says
	p.group(says, func() {
		p.path(fmt.Sprintf("M%.1f %.1fv12m0-6H%.1fm0-6v12", x1, p.y-6, max(x2, x1+1)), "none", stroke, 3)
		w := float64(len([]rune(label)))*7.2 + 30
		at := x2 + 16
		if at+w > laneRight {
			at = max(x1-w, laneLeft)
			if at+w > x1-2 {
				p.y += 20
				at = max(min(x1, laneRight-w), laneLeft) + 10
			}
		}
		p.sign(at, p.y, string(f.Severity))
		p.text(at+14, p.y+5, "start", 13, stroke, label, bold)
	})
	p.said = append(p.said, p.words.T("board.desc-finding", label, says))
	p.y += 28
}

// drawMini is the chain in one line, for lists of sets. The words beside it say
// the same, so it is hidden from readers that don't see it.
func drawMini(words *shell.Words, t projections.Trace, v projections.Verdict) template.HTML {
	const step, w, h = 30.0, 26.0, 16.0
	s := &svg{w: step*float64(max(len(t.Links), 1)) + 4, h: 24}
	p := &chainPicture{svg: svg{w: s.w, h: s.h}, words: words, t: t, v: v, faults: faultsOf(t, v)}
	for i, l := range t.Links {
		x := 2 + step*float64(i)
		if i > 0 && p.jointState(i) == "whole" {
			p.line(x-6, 12, x+4, 12, ink, 4)
		}
		fault := ""
		stroke, more := ink, []string{`rx="8"`, `stroke-width="3.5"`}
		switch l.State {
		case projections.LinkAbsent:
			stroke, more = red, []string{`rx="8"`, `stroke-width="2"`, `stroke-dasharray="4 3"`}
		case projections.LinkDue:
			stroke, more = faint, []string{`rx="8"`, `stroke-width="1.5"`, `stroke-dasharray="1 4"`,
				`stroke-linecap="round"`}
		default:
			if fault = p.faults.links[i]; fault == "broken" {
				stroke = red
			}
		}
		p.rect(x, 4, w, h, white, stroke, more...)
		if l.State == projections.LinkAbsent || fault == "broken" {
			p.path(fmt.Sprintf("M%.1f 8l8 8m0-8l-8 8", x+9), "none", red, 2.5)
		} else if fault == "doubtful" {
			p.path(fmt.Sprintf("M%.1f 7l5 9h-10z", x+13), amber, amber, 1)
		}
	}
	return template.HTML(fmt.Sprintf(
		`<svg class="mini" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" aria-hidden="true" focusable="false">%s</svg>`,
		p.w, p.h, p.w, p.h, p.b.String()))
}
