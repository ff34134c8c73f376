package bundle

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"listbound/events"
	"listbound/ledger/proof"
	"listbound/projections/run"
	"listbound/projections/run/logfile"
)

// runsDir has the logs of sterilizers' runs as they came, each under its digest.
const runsDir = "runs/"

var runName = regexp.MustCompile("^" + runsDir + "[0-9a-f]{64}$")

func digestOf(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// RunLogIn is what a record says of a run with a log, by itself or as a correction, nil where it says nothing of one.
func RunLogIn(e *events.Event) *events.RunLogged {
	said := e.Data
	if c, ok := said.(*events.EventCorrected); ok && len(c.Data) > 0 {
		var err error
		if said, err = events.DecodeData(events.KindRunLogged, c.Data); err != nil {
			return nil // of another kind
		}
	}
	if d, ok := said.(*events.RunLogged); ok && d.Log != "" {
		return d
	}
	return nil
}

// runLogs holds the logs against their digests and against what records say of them. That one isn't here, or gives other
// figures, is no fault of the bundle, and is told.
func (r *Report) runLogs(b *proof.Bundle, all []*entry) {
	logs := make(map[string][]byte)
	for _, f := range b.Files {
		digest, ok := strings.CutPrefix(f.Path, runsDir)
		if !ok {
			continue
		}
		if logs[digest] = f.Data; digestOf(f.Data) != digest {
			r.add(-1, f.Path, "it is another log than its name says")
		}
	}
	unnamed := maps.Clone(logs)
	for _, e := range all {
		d := RunLogIn(e.event)
		if d == nil {
			continue
		}
		raw, ok := logs[d.Log]
		delete(unnamed, d.Log)
		if what := differs(d, raw, ok); what != "" {
			r.Remarks = append(r.Remarks, fmt.Sprintf("record %d: %s", e.seq, what))
		}
	}
	for _, digest := range slices.Sorted(maps.Keys(unnamed)) {
		r.add(-1, runsDir+digest, "no record here names it")
	}
}

// differs says what is wrong with a log that a record names, "" for nothing.
func differs(d *events.RunLogged, raw []byte, there bool) string {
	if !there {
		return "the log of its run isn't in the bundle"
	}
	l, err := logfile.Read(raw, d.Read, d.StartedAt())
	if err != nil {
		return fmt.Sprintf("the log of its run can't be read as it says: %v", err)
	}
	again, err := run.Judge(l, &d.Cycle)
	if err != nil || !run.SameFigures(&again.Figures, &d.Figures) {
		return "read again, the log of its run gives other figures than it says"
	}
	return ""
}
