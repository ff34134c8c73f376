package readmodel

import (
	"context"
	"time"

	"listbound/projections/facts"
)

// The column remarks of events holds an events.Remark, and besides whether the
// table remarked has what was said of the record before.
const (
	allRemarks     = 1<<8 - 1
	remarkedBefore = 1 << 8
)

func remarksOf(f *facts.Fact) int64 {
	if len(f.Was) > 0 {
		return int64(f.Remarks) | remarkedBefore
	}
	return int64(f.Remarks)
}

// writeRemarks keeps what was said of records before, of the new ones and of
// earlier ones that changed, and what is said of these now.
func (w *writer) writeRemarks(added, changed []facts.Fact) error {
	for i := range changed {
		f := &changed[i]
		if err := w.exec(`UPDATE events SET remarks = ? WHERE seq = ?`, remarksOf(f), f.Seq); err != nil {
			return err
		}
		if err := w.writeWas(f); err != nil {
			return err
		}
	}
	for i := range added {
		if err := w.writeWas(&added[i]); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) writeWas(f *facts.Fact) error {
	for n, was := range f.Was {
		err := w.exec(`INSERT OR IGNORE INTO remarked VALUES (?,?,?,?)`, f.Seq, int64(n), unixNano(was.Until), int64(was.Remarks))
		if err != nil {
			return err
		}
	}
	return nil
}

// was returns the remarks that a record had before, in order.
func (m *Model) was(ctx context.Context, seq int64) ([]facts.Was, error) {
	rows, err := m.query(ctx, `SELECT until, remarks FROM remarked WHERE seq = ? ORDER BY n`, seq)
	type row struct {
		until int64
		w     facts.Was
	}
	found, err := scanAll(rows, err, func(r *row) []any { return []any{&r.until, &r.w.Remarks} })
	var out []facts.Was
	for _, r := range found {
		r.w.Until = time.Unix(0, r.until).UTC()
		out = append(out, r.w)
	}
	return out, err
}
