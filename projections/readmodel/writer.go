package readmodel

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"

	"listbound/projections"
)

// writer runs the statements of one transaction through the driver itself, each prepared once for as long as the model is
// open: to prepare one costs more than to run it. database/sql closes a transaction's statements with it, copies and looks
// at each argument anew (a quarter of the time of filling a table, and a third of all the memory a rebuild allocated),
// and under a context that can end the driver starts a goroutine for each statement. So a context is looked at between statements.
type writer struct {
	ctx   context.Context
	conn  writerConn
	stmts map[string]driver.Stmt
	args  []driver.NamedValue
	told  tellings
	// written is of verdicts, by trip. What a transaction takes back is forgotten.
	written  map[projections.TripKey]*written
	touched  map[projections.TripKey]struct{} // turns that are, or may have been, on the board, of this transaction
	filled   bool                             // it fills the board
	rows     map[string]bool                  // stations that have a row
	stations map[string]stationVerdict
	places   map[place]int64 // the last stretch of records under which each was filed: see spans
}

// writerConn is what is needed of the driver's connection.
type writerConn interface {
	driver.Conn
	driver.ConnPrepareContext
}

// rowsAtOnce is how many rows one statement inserts at most: most of an insertion's time is the statement, not the row.
const rowsAtOnce = 64

// transact runs f in a transaction: what it writes counts wholly or not at all.
func (m *Model) transact(ctx context.Context, f func(*writer) error) error {
	conn, err := m.write.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close() // gives it back
	return conn.Raw(func(c any) error {
		w, err := m.writerOn(c)
		if err != nil {
			return err
		}
		w.ctx = ctx // others may have the file locked for long
		if err := w.exec(`BEGIN IMMEDIATE`); err != nil {
			return err
		}
		w.ctx = context.WithoutCancel(ctx)
		clear(w.touched)
		w.filled = false
		if err = f(w); err == nil {
			err = ctx.Err()
		}
		if err == nil {
			m.changes.Add(1) // here and below, so that nobody sees what is new and takes it for unchanged
			m.touched.begin(w.touched, w.filled)
			err = w.exec(`COMMIT`)
			m.touched.end()
			m.changes.Add(1)
		}
		if err != nil {
			_ = w.exec(`ROLLBACK`) // SQLite may have done so itself
			w.unknow()
		}
		return err
	})
}

// writerOn returns the writer of a connection. database/sql may open another one after an error.
func (m *Model) writerOn(c any) (*writer, error) {
	conn, ok := c.(writerConn)
	if !ok {
		return nil, errors.New("the SQLite driver prepares no statements")
	}
	if m.writer == nil || m.writer.conn != conn {
		m.writer = &writer{conn: conn, stmts: make(map[string]driver.Stmt), told: make(tellings),
			written: make(map[projections.TripKey]*written), rows: make(map[string]bool),
			stations: make(map[string]stationVerdict), places: make(map[place]int64)}
	}
	return m.writer, nil
}

// close lets the statements go, before their connection is closed. Where that was interrupted, database/sql has closed it, and they
// are gone with it: the driver would look for it.
func (w *writer) close() error {
	if w == nil {
		return nil
	}
	if conn, ok := w.conn.(driver.Validator); ok && !conn.IsValid() {
		return nil
	}
	var errs []error
	for _, st := range w.stmts {
		errs = append(errs, st.Close())
	}
	return errors.Join(errs...)
}

// exec runs a statement. The arguments are of the types of driver.Value.
func (w *writer) exec(text string, args ...any) error {
	w.args = w.args[:0]
	for i, v := range args {
		w.args = append(w.args, driver.NamedValue{Ordinal: i + 1, Value: v})
	}
	_, err := w.run(text, w.args)
	return err
}

func (w *writer) run(text string, args []driver.NamedValue) (driver.Result, error) {
	st, err := w.statement(text)
	if err != nil {
		return nil, err
	}
	x, ok := st.(driver.StmtExecContext)
	if !ok {
		return nil, errors.New("the SQLite driver takes no context")
	}
	return x.ExecContext(w.ctx, args)
}

// query goes through the rows of an answer. What a row holds is the driver's again when the next one is asked for.
func (w *writer) query(text string, args []any, each func(row []driver.Value) error) (err error) {
	st, err := w.statement(text)
	if err != nil {
		return err
	}
	q, ok := st.(driver.StmtQueryContext)
	if !ok {
		return errors.New("the SQLite driver takes no context")
	}
	named := make([]driver.NamedValue, len(args))
	for i, v := range args {
		named[i] = driver.NamedValue{Ordinal: i + 1, Value: v}
	}
	rows, err := q.QueryContext(w.ctx, named)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	row := make([]driver.Value, len(rows.Columns()))
	for {
		if err := rows.Next(row); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if err := each(row); err != nil {
			return err
		}
	}
}

// number and blob read a column of a row; a blob is copied.
func number(v driver.Value) (int64, error) {
	n, ok := v.(int64)
	if !ok {
		return 0, fmt.Errorf("a number was expected where the table has a %T", v)
	}
	return n, nil
}

func blob(v driver.Value) ([]byte, error) {
	switch b := v.(type) {
	case nil:
		return nil, nil
	case []byte:
		return append([]byte(nil), b...), nil
	}
	return nil, fmt.Errorf("bytes were expected where the table has a %T", v)
}

func (w *writer) statement(text string) (driver.Stmt, error) {
	if st := w.stmts[text]; st != nil {
		return st, nil
	}
	st, err := w.conn.PrepareContext(w.ctx, text)
	if err != nil {
		return nil, err
	}
	w.stmts[text] = st
	return st, nil
}

// insertAll inserts rows. A row is the caller's again when the next one is asked for; the values in it are not.
func (w *writer) insertAll(ctx context.Context, into string, columns int, rows iter.Seq[[]any]) error {
	return w.insertNumbered(ctx, 0, into, columns, rows)
}

// insertNumbered is insertAll of rows that SQLite numbers, of which the first must get this number; 0: it doesn't.
func (w *writer) insertNumbered(ctx context.Context, first int64, into string, columns int, rows iter.Seq[[]any]) error {
	in := inserter{w: w, into: into, row: "(?" + strings.Repeat(",?", columns-1) + ")", columns: columns, next: first}
	for row := range rows {
		for _, v := range row {
			in.args = append(in.args, driver.NamedValue{Ordinal: len(in.args) + 1, Value: v})
		}
		if len(in.args) < rowsAtOnce*columns {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := in.insert(rowsAtOnce); err != nil {
			return err
		}
	}
	return in.flush()
}

// inserter collects rows until a statement is full.
type inserter struct {
	w         *writer
	into, row string
	columns   int
	args      []driver.NamedValue
	next      int64 // number of the next row; 0: SQLite gives them none
}

// flush inserts what fills no statement: by powers of two, so that a few statements serve any number of rows.
func (in *inserter) flush() error {
	for n := rowsAtOnce / 2; n > 0; n /= 2 {
		if len(in.args) < n*in.columns {
			continue
		}
		if err := in.insert(n); err != nil {
			return err
		}
	}
	return nil
}

// numbered holds the number of the last of n rows against what it must be.
func (in *inserter) numbered(got driver.Result, n int) error {
	in.next += int64(n)
	last, err := got.LastInsertId()
	if err == nil && last != in.next-1 {
		err = fmt.Errorf("row %d was numbered %d: rows of the table are missing or too many; the next start makes it anew", in.next-1, last)
	}
	return err
}

// insert inserts the first n rows.
func (in *inserter) insert(n int) error {
	text := in.into + in.row + strings.Repeat(","+in.row, n-1)
	got, err := in.w.run(text, in.args[:n*in.columns])
	if err == nil && in.next > 0 {
		err = in.numbered(got, n)
	}
	if err != nil {
		return err
	}
	in.args = append(in.args[:0], in.args[n*in.columns:]...)
	for i := range in.args {
		in.args[i].Ordinal = i + 1
	}
	return nil
}
