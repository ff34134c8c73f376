package workplace

import (
	"errors"
	"os"
	"time"
)

// paperKept is how long what was read of a sheet waits for a person, from its last picture on: it has cut-outs of what people
// wrote, and of labels that may have been stuck where none belongs. The paper can be read again. A choice, no source: longer
// than a leave of two weeks would need, shorter than anybody looks for a downtime's papers.
const paperKept = 21 * 24 * time.Hour

// expirePapers throws away what was read so long ago: at a start, whenever a picture is read, and when the page is looked at,
// which each station's browser does by itself every few minutes.
func (s store) expirePapers(now time.Time) error {
	names, err := s.list(paperFolder)
	if err != nil {
		return err
	}
	var failed error
	for _, code := range names {
		sheet, found, err := s.paper(code)
		switch {
		case ignoreUnreadable(err) != nil:
			failed = errors.Join(failed, err)
			continue
		case err != nil: // of another version of the program, or torn: by when it was written
			if info, err := os.Stat(s.path(paperFolder, code)); err == nil {
				sheet.ReadAt = info.ModTime()
			}
		}
		if found && now.Sub(sheet.ReadAt) > paperKept {
			failed = errors.Join(failed, s.removePaper(code))
		}
	}
	return failed
}
