package door

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"

	"listbound/cmd/internal/shell"
)

// Cost is what checking a password costs: RFC 9106's parameters of argon2id.
type Cost struct {
	Time    uint32
	KiB     uint32
	Threads uint8
}

// usual is RFC 9106's second recommended choice, for where memory is short: three
// passes over 64 MiB in four lanes.
func usual() Cost { return Cost{Time: 3, KiB: 64 << 10, Threads: 4} }

const (
	saltLength = 16
	hashLength = 32
)

// hashPassword returns what is kept of a password, in the PHC string format.
func hashPassword(password string, c Cost) string {
	salt := make([]byte, saltLength)
	rand.Read(salt) // never fails: see its documentation
	return formatHash(argon2.IDKey([]byte(password), salt, c.Time, c.KiB, c.Threads, hashLength), salt, c)
}

// nobodys returns what is kept of a password that nobody has: to check one against it takes as long as against any other. It is
// drawn and not reckoned, since a server would pay for that at each start and people wait for its first page.
func nobodys(c Cost) string {
	drawn := make([]byte, hashLength+saltLength)
	rand.Read(drawn) // never fails: see its documentation
	return formatHash(drawn[:hashLength], drawn[hashLength:], c)
}

func formatHash(hash, salt []byte, c Cost) string {
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.KiB, c.Time, c.Threads,
		b.EncodeToString(salt), b.EncodeToString(hash))
}

// checkPassword reports whether a password is the one of which kept is left.
func checkPassword(password, kept string) bool {
	parts := strings.Split(kept, "$")
	const members = 6
	if len(parts) != members || parts[1] != "argon2id" {
		return false
	}
	var version int
	var c Cost
	if n, err := fmt.Sscanf(parts[2], "v=%d", &version); n != 1 || err != nil || version != argon2.Version {
		return false
	}
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.KiB, &c.Time, &c.Threads); n != 3 || err != nil {
		return false
	}
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return false
	}
	want, err := base64.RawStdEncoding.DecodeString(parts[5])
	const longest = 1 << 20 // KiB, passes: more than that nobody wrote here
	if err != nil || len(want) != hashLength || c.Time == 0 || c.Threads == 0 || c.KiB > longest || c.Time > longest {
		return false
	}
	got := argon2.IDKey([]byte(password), salt, c.Time, c.KiB, c.Threads, hashLength)
	return subtle.ConstantTimeCompare(got, want) == 1
}

// A password alone lets its person in, so it is as long as NIST SP 800-63B-4 asks
// for where there is nothing beside it.
const (
	shortestPassword = 15
	longestPassword  = 256
	fewestDifferent  = 6
)

// passwordProblem says what is wrong with a new password, "" for nothing.
func passwordProblem(words *shell.Words, password, again string, names ...string) string {
	different := make(map[rune]bool)
	for _, r := range password {
		different[r] = true
	}
	switch n := len([]rune(password)); {
	case n < shortestPassword:
		return words.T("door.password-short", shortestPassword)
	case len(password) > longestPassword:
		return words.T("door.password-long", longestPassword)
	case len(different) < fewestDifferent:
		return words.T("door.password-plain")
	case password != again:
		return words.T("door.password-again-differs")
	}
	for _, name := range names {
		if name != "" && strings.Contains(strings.ToLower(password), strings.ToLower(name)) {
			return words.T("door.password-plain")
		}
	}
	return ""
}

// secret returns 256 bits that nobody can guess, for a cookie or a token.
func secret() string {
	b := make([]byte, sha256.Size)
	rand.Read(b) // never fails: see its documentation
	return base64.RawURLEncoding.EncodeToString(b)
}

// digest is what is kept of a secret. A secret can't be guessed, so a hash that is quick will do.
func digest(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// codeLetters are those that nobody takes for another; there are 32, so that each byte's low bits choose one evenly.
const codeLetters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// newCode returns a one-time code of groups of four letters, 20 bits each.
func newCode(groups int) string {
	const letters = 4
	b := make([]byte, groups*letters)
	rand.Read(b) // never fails: see its documentation
	var out strings.Builder
	for i, x := range b {
		if i > 0 && i%letters == 0 {
			out.WriteByte('-')
		}
		out.WriteByte(codeLetters[int(x)%len(codeLetters)])
	}
	return out.String()
}

// readCode undoes what people do to a code when they type it.
func readCode(typed string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case ' ', '-', '\t', '\r', '\n':
			return -1
		case 'O':
			return '0'
		case 'I', 'L':
			return '1'
		}
		return r
	}, strings.ToUpper(typed))
}
