package board

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// beadsInPicture is how many records of a station one picture shows.
const beadsInPicture = 36

// bead is one record of a station in its picture.
type bead struct {
	seq, number        int64 // in the ledger, of the station
	observed, recorded time.Time
	remarks            events.Remark
	says               string
}

// beads reads a station's records for the picture: around the latest with
// something wrong, else the latest.
func (p *pages) beads(r *http.Request, words *shell.Words, m *site.View, station string) ([]bead, error) {
	var below int64
	wrong, err := m.Remarked(r.Context(), station, 1)
	if err != nil {
		return nil, err
	}
	seqs, err := m.RecordsOf(r.Context(), "station", station, below, beadsInPicture)
	if err != nil {
		return nil, err
	}
	if len(wrong) > 0 && !slices.Contains(seqs, wrong[0]) {
		// Some of what came after it, as far as that lies close in the ledger.
		const close = 200
		if seqs, err = m.RecordsOf(r.Context(), "station", station, wrong[0]+close, beadsInPicture); err != nil {
			return nil, err
		}
		if !slices.Contains(seqs, wrong[0]) {
			if seqs, err = m.RecordsOf(r.Context(), "station", station, wrong[0]+1, beadsInPicture); err != nil {
				return nil, err
			}
		}
	}
	var out []bead
	for _, seq := range slices.Backward(seqs) {
		e, at, err := p.fact(seq)
		if err != nil {
			return nil, err
		}
		if e == nil {
			continue
		}
		remarks, err := m.RemarksOf(r.Context(), seq)
		if err != nil {
			return nil, err
		}
		out = append(out, bead{seq, e.StationSeq, e.Time, at, remarks, kindText(words, kindOf(e)) + " " + e.Subject})
	}
	return out, nil
}

// drawStation shows a station's records as beads on a string in the order of
// their numbers, the string torn where numbers are missing; below, when each
// was observed and when it was recorded, joined by a line. Lines that cross or
// lean say that a clock or a connection was not right.
func drawStation(words *shell.Words, name string, beads []bead) template.HTML {
	if len(beads) == 0 {
		return ""
	}
	var at []time.Time
	for _, b := range beads {
		at = append(at, b.observed, b.recorded)
	}
	p := &chainPicture{words: words, axis: newAxis(laneLeft, laneRight, at)}
	p.w = pictureWidth
	p.beadString(beads)
	p.beadTimes(beads)
	p.said = append(p.said, words.T("board.desc-beads", len(beads), beads[0].number, beads[len(beads)-1].number,
		words.Time(beads[0].recorded)))
	return p.picture("station", words.T("board.station-picture", name), strings.Join(p.said, " "))
}

// beadString draws the records by their numbers.
func (p *chainPicture) beadString(beads []bead) {
	const y = 30.0
	step := (laneRight - laneLeft - 40) / float64(max(len(beads)-1, 1))
	x := func(i int) float64 { return laneLeft + 20 + step*float64(i) }
	p.y = y
	p.lane("numbers")
	for i := 1; i < len(beads); i++ {
		missing := beads[i].number - beads[i-1].number - 1
		if missing <= 0 {
			p.line(x(i-1)+6, y, x(i)-6, y, ink, 3)
			continue
		}
		m := (x(i-1) + x(i)) / 2
		p.line(x(i-1)+6, y, m-4, y, red, 3)
		p.line(m+4, y, x(i)-6, y, red, 3)
		p.path(fmt.Sprintf("M%.1f %.1fl-4 6 5 5-4 6m8-17l-4 6 5 5-4 6", m-1, y-8), "none", red, 2)
		p.text(m, y-14, "middle", 13, red, p.words.T("board.numbers-missing", missing), bold)
		p.said = append(p.said, p.words.T("board.desc-gap", beads[i-1].number, beads[i].number))
	}
	for i, b := range beads {
		p.group(fmt.Sprintf("%d: %s", b.number, b.says), func() {
			p.circle(x(i), y, 6, white, ink, 2.5)
			if b.remarks != 0 {
				p.sign(x(i), y, "doubtful")
				p.said = append(p.said, p.words.T("board.desc-remark", b.number,
					strings.Join(p.words.Remarks(b.remarks), ", ")))
			}
		})
	}
	for _, i := range []int{0, len(beads) - 1} {
		p.text(x(i), y+24, "middle", 12, soft, fmt.Sprint(beads[i].number))
	}
}

// beadTimes draws when each record was observed and recorded.
func (p *chainPicture) beadTimes(beads []bead) {
	const observedY, recordedY = 96.0, 168.0
	p.y = observedY
	p.lane("observed")
	p.scale(observedY)
	p.y = recordedY
	p.lane("recorded")
	for _, q := range p.axis.pieces {
		p.line(q.x1-6, recordedY, q.x2+6, recordedY, ink, 2)
	}
	for _, b := range beads {
		a, z := p.axis.x(b.observed), p.axis.x(b.recorded)
		width := 1.0
		if b.remarks != 0 {
			width = 2.5
		}
		p.line(a, observedY, z, recordedY, blue, width)
		p.circle(a, observedY, 4, ink, white, 1)
		p.rect(z-4, recordedY-4, 8, 8, white, blue, `stroke-width="2"`)
	}
	p.h = recordedY + 24
}
