package feed

import (
	"fmt"
	"log/slog"
	"strings"
	"sync/atomic"
)

// watch is the server's log. What it calls an error is that somebody came in with nothing that lets in, tried what they may not, or spoke
// something else than the protocol; that, and who was too slow, is all of it that a person should read.
type watch struct {
	log     *slog.Logger
	readers Readers
	refused atomic.Int64 // since the start
}

// Errorf notes what was refused. A reader can be refused a hundred thousand times a second, so the log has the first, the second, the
// fourth and so on, with their number; all are counted.
func (w *watch) Errorf(format string, v ...any) {
	w.readers.Refused()
	if n := w.refused.Add(1); n&(n-1) == 0 {
		w.log.Warn("refused at the feed", "what", fmt.Sprintf(format, v...), "since the start", n)
	}
}

func (w *watch) Warnf(format string, v ...any) {
	w.log.Warn("the feed", "what", fmt.Sprintf(format, v...))
}

// Fatalf is what the server calls before it gives up; Start notices by itself.
func (w *watch) Fatalf(format string, v ...any) {
	w.log.Error("the feed", "error", fmt.Sprintf(format, v...))
}

func (w *watch) Noticef(format string, v ...any) {
	if line := fmt.Sprintf(format, v...); strings.HasPrefix(line, "Slow Consumer") {
		w.log.Warn("the feed", "what", line)
	}
}

func (w *watch) Debugf(string, ...any) {}
func (w *watch) Tracef(string, ...any) {}
