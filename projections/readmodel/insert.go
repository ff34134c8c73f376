package readmodel

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"iter"
	"strings"
)

// rowsAtOnce is how many rows one statement inserts: most of an insertion's time
// is the statement, not the row.
const rowsAtOnce = 64

// insertAll inserts rows through the driver itself, inside the transaction that
// is under way. database/sql copies and looks at each argument anew: a quarter of
// the time of filling a table, and a third of all the memory a rebuild allocated.
// A row is the caller's again when the next one is asked for; the values in it,
// which are of the types of driver.Value, are not.
func insertAll(ctx context.Context, conn *sql.Conn, into string, columns int, rows iter.Seq[[]any]) error {
	return conn.Raw(func(c any) error {
		p, ok := c.(driver.ConnPrepareContext)
		if !ok {
			return errors.New("the SQLite driver prepares no statements")
		}
		in := inserter{conn: p, into: into, row: "(?" + strings.Repeat(",?", columns-1) + ")", full: rowsAtOnce * columns, columns: columns}
		for row := range rows {
			if err := in.add(ctx, row); err != nil {
				return errors.Join(err, in.close())
			}
		}
		return errors.Join(in.flush(ctx), in.close())
	})
}

// inserter collects rows until a statement is full.
type inserter struct {
	conn          driver.ConnPrepareContext
	into, row     string
	columns, full int
	args          []driver.NamedValue
	many          driver.Stmt // for full
}

func (in *inserter) add(ctx context.Context, row []any) error {
	for _, v := range row {
		in.args = append(in.args, driver.NamedValue{Ordinal: len(in.args) + 1, Value: v})
	}
	if len(in.args) < in.full {
		return nil
	}
	if in.many == nil {
		var err error
		if in.many, err = in.prepare(ctx, rowsAtOnce); err != nil {
			return err
		}
	}
	return in.exec(ctx, in.many)
}

// flush inserts what fills no statement.
func (in *inserter) flush(ctx context.Context) error {
	if len(in.args) == 0 {
		return nil
	}
	few, err := in.prepare(ctx, len(in.args)/in.columns)
	if err != nil {
		return err
	}
	return errors.Join(in.exec(ctx, few), few.Close())
}

func (in *inserter) prepare(ctx context.Context, n int) (driver.Stmt, error) {
	return in.conn.PrepareContext(ctx, in.into+in.row+strings.Repeat(","+in.row, n-1))
}

func (in *inserter) exec(ctx context.Context, st driver.Stmt) error {
	x, ok := st.(driver.StmtExecContext)
	if !ok {
		return errors.New("the SQLite driver takes no context")
	}
	_, err := x.ExecContext(ctx, in.args)
	in.args = in.args[:0]
	return err
}

func (in *inserter) close() error {
	if in.many == nil {
		return nil
	}
	return in.many.Close()
}
