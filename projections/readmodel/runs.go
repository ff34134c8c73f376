package readmodel

import "context"

// LoggedLoads returns the loads of a sterilizer whose runs' logs were recorded, the latest first.
func (m *Model) LoggedLoads(ctx context.Context, sterilizer string, most int) ([]string, error) {
	rows, err := m.query(ctx, `SELECT load FROM events WHERE sterilizer = ? AND kind = 'run.logged' ORDER BY observed DESC, seq DESC
		LIMIT ?`, sterilizer, most)
	return scanAll(rows, err, func(load *string) []any { return []any{load} })
}
