package workplace

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"

	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// A line of a list may have a photograph of the instrument. It comes with the form of the list, from a file or a camera, and is
// made anew from its pixels; the line says its digest, so that it is part of the version that somebody issues.

// KeepPhotographs gives lines of a table that has no column for them the photographs that the same items have in a version
// before: whoever hands in a table of the department's own would else take them all away.
func (t *Table) KeepPhotographs(before []events.Line) {
	if t.Photographs {
		return
	}
	for i := range t.Lines {
		l := &t.Lines[i]
		of := func(o events.Line) bool { return o.Item == l.Item && o.Photograph != "" }
		k := slices.IndexFunc(before, func(o events.Line) bool { return of(o) && o.Line == l.Line })
		if k < 0 {
			k = slices.IndexFunc(before, of)
		}
		if k >= 0 {
			l.Photograph = before[k].Photograph
		}
	}
}

// takePhotographs takes what came with the form for single lines: a photograph, or that a line has none any more. A form without
// them keeps those of the version before. What can't be read is said of its line.
func (v *visit) takePhotographs(f *listForm, before []site.ListVersion, lines []events.Line) error {
	if len(before) > 0 && !f.photographs {
		t := Table{Lines: lines}
		t.KeepPhotographs(before[len(before)-1].LineRows)
	}
	for i := range lines {
		l := &lines[i]
		if v.r.PostFormValue(fmt.Sprintf("photo-off-%d", l.Line)) != "" {
			l.Photograph = ""
		}
		file, _, err := v.r.FormFile(fmt.Sprintf("photo-%d", l.Line))
		if errors.Is(err, http.ErrMissingFile) {
			continue
		}
		if err != nil {
			return cutShort(v.sayNo("file-unreadable"), err)
		}
		raw, err := io.ReadAll(file)
		if err = errors.Join(err, file.Close()); err != nil {
			return cutShort(v.sayNo("file-unreadable"), err)
		}
		if len(raw) == 0 {
			continue // the browser sends a field in which nothing was chosen
		}
		v.d.photoMu.Lock() // a photograph of 50 megapixels takes 200 MB while it is read
		made, err := pictures.Photograph(raw, pictures.Usual())
		v.d.photoMu.Unlock()
		if no, ok := errors.AsType[*pictures.Error](err); ok {
			f.Wrong = append(f.Wrong, RowError{0, v.t("photograph-no", l.Line, v.photographNo(no))})
			continue
		}
		if err == nil {
			l.Photograph, err = v.d.site.KeepPhotograph(v, made)
		}
		if err != nil {
			return refusal.Because(err)
		}
	}
	return nil
}

// photographNo says why a file is no photograph. A page that is read back may be of other formats, and is scanned.
func (v *visit) photographNo(no *pictures.Error) string {
	switch no.Cause {
	case pictures.NotKnown:
		return v.t("photograph-format", no.Format)
	case pictures.TooManyPixels:
		return v.t("photograph-pixels", no.Limit)
	}
	return v.t("picture-"+string(no.Cause), no.Format, no.Limit)
}

// photograph shows one. What its address names never changes.
func (d *Desk) photograph(w http.ResponseWriter, r *http.Request) {
	raw, err := d.site.Photograph(r.PathValue("digest"))
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	w.Write(raw) // a client that has gone away needs no answer
}
