package workplace

import (
	"strings"
)

// neverBadge reports whether a plain code can't be a badge, whatever a person
// says: a number of instruments (up to three digits), what is too short to name a
// person, and the 12 to 14 digits of a trade item's number.
func neverBadge(code string) bool {
	const shortest = 3
	digits := strings.Trim(code, "0123456789") == ""
	return len(code) < shortest || digits && (len(code) <= 3 || len(code) >= 12 && len(code) <= 14)
}
