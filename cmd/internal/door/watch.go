package door

import (
	"log/slog"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
)

// Watch logs and counts whom the server did not let in, with accounts or without.
type Watch struct {
	log     *slog.Logger
	refused *prometheus.CounterVec
}

// NewWatch returns a watch with counts of its own.
func NewWatch(log *slog.Logger) *Watch {
	w := &Watch{log: log, refused: prometheus.NewCounterVec(prometheus.CounterOpts{
		Name: "listbound_refused_total", Help: "Requests that were not let in, by why.",
	}, []string{"why"})}
	for _, why := range whys() {
		w.refused.WithLabelValues(why) // a count that is missing can't be told from one that is 0
	}
	return w
}

// Counts is what is counted, for /metrics.
func (w *Watch) Counts() prometheus.Collector { return w.refused }

// Why somebody was not let in.
const (
	WhyHost     = "host"     // the request was meant for another host
	WhyOrigin   = "origin"   // a page at another address asked
	WhyNobody   = "nobody"   // neither signed in nor with a token or station
	WhyToken    = "token"    // a token that is unknown, or has ended
	WhyRole     = "role"     // somebody who may not do this
	WhyStation  = "station"  // a station that is another one
	WhyRecord   = "record"   // an observation that is not theirs to say
	WhyPassword = "password" // name or password are wrong
	WhyPIN      = "pin"      // a PIN at a station that is wrong
	WhyCode     = "code"     // a one-time code that is wrong, or over
	WhyOpenID   = "openid"   // came back from the sign-in elsewhere with nothing that lets in
	WhyTooMany  = "too-many" // tried too often
	WhyFeed     = "feed"     // at the feed: nobody who may read, or something else than reading
	WhyAgain    = "again"    // signed in some time ago, and it needs the password once more
)

func whys() []string {
	return []string{WhyHost, WhyOrigin, WhyNobody, WhyToken, WhyRole, WhyStation, WhyRecord, WhyPassword, WhyCode, WhyOpenID, WhyTooMany,
		WhyAgain, WhyPIN, WhyFeed}
}

// Refused notes that a request was not let in. What was asked is named by its path alone: what follows the question mark
// may name a case.
func (w *Watch) Refused(r *http.Request, why, who string) {
	w.count(why)
	w.log.WarnContext(r.Context(), "not let in", "why", why, "who", who, "from", addressOf(r),
		"method", r.Method, "path", r.URL.Path)
}

func (w *Watch) count(why string) { w.refused.WithLabelValues(why).Inc() }
