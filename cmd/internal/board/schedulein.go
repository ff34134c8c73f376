package board

import (
	"errors"
	"io"
	"net/http"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections/schedule"
)

// The form on the page of a day by which somebody takes a schedule in. The file is read part by part, in memory: patients
// stand in it, and whoever parses a form puts large parts into files.

// scheduleForm is the form, and what became of it.
type scheduleForm struct {
	Badge, Days string
	Check       bool
	Day         string // the page's

	Done, LeftOut string
	Problem       string
	Wrong         []string // what is wrong, line by line
	raw           []byte
}

var errFormCut = refusal.New("the form did not come in whole, or is too large: send it again")

// mostOfField bounds a field of the form that isn't the file.
const mostOfField = 200

// readScheduleForm reads the form's parts.
func readScheduleForm(w http.ResponseWriter, r *http.Request) (*scheduleForm, error) {
	r.Body = http.MaxBytesReader(w, r.Body, schedule.MaxBytes+1<<16)
	f := new(scheduleForm)
	parts, err := r.MultipartReader()
	if err != nil {
		return f, refusal.New("this is no form with a file: choose the file on the page of a day")
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return f, nil
		}
		if err != nil {
			return f, errFormCut
		}
		most := int64(mostOfField)
		if part.FormName() == "file" {
			most = schedule.MaxBytes + 1 // one more than is taken, so that it is said
		}
		raw, err := io.ReadAll(io.LimitReader(part, most))
		if err != nil {
			return f, errFormCut
		}
		f.take(part.FormName(), raw)
	}
}

func (f *scheduleForm) take(name string, raw []byte) {
	text := strings.TrimSpace(string(raw[:min(len(raw), mostOfField)]))
	switch name {
	case "file":
		f.raw = raw
	case "badge":
		f.Badge = scannedBadge(text)
	case "days":
		f.Days = text
	case "check":
		f.Check = text != ""
	case "day":
		f.Day = text
	}
}

// takeSchedule takes a schedule in and shows the day again, with what became of it.
func (p *pages) takeSchedule(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	f, err := readScheduleForm(w, r)
	if err == nil {
		err = p.importSchedule(r, words, f)
	}
	p.again(w, r, words, err, &f.Problem, func() (*answer, error) {
		if refused, ok := errors.AsType[*site.ScheduleRefused](err); ok {
			f.Problem, f.Wrong = words.T("board.schedule-refused"), wrongLines(words, refused.Problems)
		}
		return p.showDay(r, words, f.Day, f)
	})
}

func (p *pages) importSchedule(r *http.Request, words *shell.Words, f *scheduleForm) error {
	switch {
	case len(f.raw) == 0:
		return refusal.New("%s", words.T("board.schedule-no-file"))
	case f.Badge == "" && !f.Check:
		return refusal.New("%s", words.T("board.schedule-no-badge"))
	}
	got, err := p.site.ImportSchedule(r.Context(), f.raw, site.ScheduleAsked{Operator: f.Badge, Days: f.Days, Check: f.Check})
	if err != nil {
		return err
	}
	key := "board.schedule-recorded"
	if f.Check {
		key = "board.schedule-checked"
	}
	f.Done = words.T(key, got.New, got.Changed, got.Cancelled, got.Same)
	if got.Older+got.NotThere+got.Passed+got.Unknown > 0 {
		f.LeftOut = words.T("board.schedule-left-out", got.Older, got.NotThere, got.Passed, got.Unknown)
	}
	return nil
}

// wrongLines says what is wrong in the page's language, as many lines as somebody mends at once.
func wrongLines(words *shell.Words, problems []schedule.Problem) (out []string) {
	const most = 20
	for _, x := range problems[:min(most, len(problems))] {
		says := words.T("board.schedule-wrong-"+x.Key, x.Args...)
		if x.Row > 0 {
			says = words.T("board.schedule-line", x.Row, says)
		}
		out = append(out, says)
	}
	if n := len(problems) - most; n > 0 {
		out = append(out, words.T("board.schedule-more", n))
	}
	return out
}
