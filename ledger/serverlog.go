package ledger

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
)

// writeErrorText is how the server's log says that it cannot write the stream: "Filestore [CUSTODY] Critical write
// error: …". The log is the only place where it says so: the publish that met the error gets no answer. Without this
// text a full disk would show as a publish that timed out, with its outcome unknown. The text belongs to the server
// version in layoutVersion; TestServerReportsWriteError is red when another version words it otherwise.
const writeErrorText = "write error"

// serverLog passes the server's warnings on, remembers the last one, which explains a failed start, and watches for a
// failed write.
type serverLog struct {
	log *slog.Logger

	mu         sync.Mutex
	lastText   string
	fatal      bool          // the server gave up
	writeError string        // the first failed write, "" if there was none
	cannotSave chan struct{} // closed when writeError is set
}

func newServerLog(logger *slog.Logger) *serverLog {
	return &serverLog{log: logger, cannotSave: make(chan struct{})}
}

func (s *serverLog) keep(level slog.Level, format string, v []any) {
	text := strings.TrimSpace(fmt.Sprintf(format, v...))
	s.mu.Lock()
	s.lastText = text
	if s.writeError == "" && strings.Contains(text, writeErrorText) {
		s.writeError = text
		close(s.cannotSave)
	}
	s.mu.Unlock()
	s.log.Log(context.Background(), level, "embedded server: "+text)
}

// last returns the newest message.
func (s *serverLog) last() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lastText == "" {
		return "it gave no reason"
	}
	return s.lastText
}

// gaveUp reports whether the server has said that it cannot go on.
func (s *serverLog) gaveUp() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.fatal
}

// failedWrite returns a channel that is closed once the server cannot write the stream.
func (s *serverLog) failedWrite() <-chan struct{} { return s.cannotSave }

// writeFailure returns what the server said about its failed write. The channel of failedWrite must be closed.
func (s *serverLog) writeFailure() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return &writeError{s.writeError}
}

// writeError is what the server said about a failed write.
type writeError struct{ reason string }

func (e *writeError) Error() string { return "the stream could not store it: " + e.reason }

func (s *serverLog) Noticef(format string, v ...any) {}
func (s *serverLog) Debugf(format string, v ...any)  {}
func (s *serverLog) Tracef(format string, v ...any)  {}
func (s *serverLog) Warnf(format string, v ...any)   { s.keep(slog.LevelWarn, format, v) }
func (s *serverLog) Errorf(format string, v ...any)  { s.keep(slog.LevelError, format, v) }

// Fatalf must not end the process: the ledger's caller decides.
func (s *serverLog) Fatalf(format string, v ...any) {
	s.keep(slog.LevelError, format, v)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fatal = true
}
