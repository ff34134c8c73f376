package proof

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"
)

// arrivalKind is what the key ID of an arrival line is derived from besides the origin: key type 0xFF ("custom") of the
// note format, followed by our own name for it.
const arrivalKind = "\n\xfflistbound arrival v1"

// linkedKind is the same for an arrival line that names links as well.
const linkedKind = "\n\xfflistbound arrival v2"

// arrivalLen is the length of an arrival line's bytes: key ID, time, two zero bytes, remark. Fifteen bytes fill 20
// characters of base64 exactly, so there are no spare bits that could be changed unnoticed.
const (
	arrivalLen     = 4 + 8 + 3
	arrivalEncoded = arrivalLen / 3 * 4
)

// ArrivalKeyID returns the key ID that marks the arrival lines of the ledger named origin.
func ArrivalKeyID(origin string) [4]byte {
	sum := sha256.Sum256([]byte(origin + arrivalKind))
	return [4]byte(sum[:4])
}

// LinkedKeyID is the same for arrival lines with links.
func LinkedKeyID(origin string) [4]byte {
	sum := sha256.Sum256([]byte(origin + linkedKind))
	return [4]byte(sum[:4])
}

// AddArrival returns the record: the station's note followed by the arrival line. The note is copied, not changed. The
// remark is one byte of the caller's: what it noticed about the note when it came. The links name what the record is
// about, in the order of their keys.
func AddArrival(origin string, note []byte, at time.Time, remark byte, links ...Link) []byte {
	id := ArrivalKeyID(origin)
	if len(links) > 0 {
		id = LinkedKeyID(origin)
	}
	raw := make([]byte, arrivalLen, arrivalLen+len(links)*linkLen)
	copy(raw, id[:])
	binary.BigEndian.PutUint64(raw[4:], uint64(at.UnixNano()))
	raw[arrivalLen-1] = remark
	for _, l := range links {
		raw = l.append(raw)
	}
	size := base64.StdEncoding.EncodedLen(len(raw))
	record := make([]byte, 0, len(note)+len(signaturePrefix)+len(origin)+1+size+1)
	record = append(record, note...)
	record = append(record, signaturePrefix...)
	record = append(record, origin...)
	record = append(record, ' ')
	record = base64.StdEncoding.AppendEncode(record, raw)
	return append(record, '\n')
}

// SplitArrival takes a record apart into the station's note, the time of arrival and the remark. It is strict: the
// arrival line must be there exactly once, be the last line, and be spelt canonically. The note returned shares memory
// with the record.
func SplitArrival(origin string, record []byte) (stationNote []byte, at time.Time, remark byte, err error) {
	a, err := NewSplitter(origin).Split(record)
	return a.Note, a.At, a.Remark, err
}

// Arrival is what a record consists of.
type Arrival struct {
	Note   []byte // the station's; it shares memory with the record
	At     time.Time
	Remark byte
	Links  []Link
}

// Splitter takes many records of one ledger apart, as SplitArrival does. It may be used by many goroutines at once.
type Splitter struct {
	origin        string
	plain, linked [4]byte
}

// NewSplitter returns the splitter of the ledger named origin.
func NewSplitter(origin string) *Splitter {
	return &Splitter{origin, ArrivalKeyID(origin), LinkedKeyID(origin)}
}

func (s *Splitter) id(linked bool) [4]byte {
	if linked {
		return s.linked
	}
	return s.plain
}

// among reports whether an arrival line is among the signature lines of a note.
func (s *Splitter) among(sigs []noteSignature) bool {
	for _, sig := range sigs {
		if sig.name == s.origin && (sig.keyID == s.plain || sig.keyID == s.linked) {
			return true
		}
	}
	return false
}

// Split takes a record apart.
func (s *Splitter) Split(record []byte) (a Arrival, err error) {
	if a.Note, a.At, a.Remark, err = readArrival(s.origin, record, s.id); err != nil {
		return Arrival{}, err
	}
	sigs, err := noteSignatures(a.Note)
	if err != nil {
		return Arrival{}, err
	}
	if s.among(sigs) {
		return Arrival{}, fmt.Errorf("record has a second arrival line of %s", s.origin)
	}
	if a.Links, err = Links(s.origin, record); err != nil {
		return Arrival{}, err
	}
	return a, nil
}

// ReadArrival is SplitArrival for a record that a ledger took and whose hash has been checked: it does not look at the
// note again.
func ReadArrival(origin string, record []byte) (stationNote []byte, at time.Time, remark byte, err error) {
	return readArrival(origin, record, func(linked bool) [4]byte {
		if linked {
			return LinkedKeyID(origin)
		}
		return ArrivalKeyID(origin)
	})
}

func readArrival(
	origin string, record []byte, id func(linked bool) [4]byte,
) (stationNote []byte, at time.Time, remark byte, err error) {
	start, b64, err := arrivalLine(origin, record)
	if err != nil {
		return nil, time.Time{}, 0, err
	}
	var raw [arrivalLen]byte
	if _, err := strictBase64.Decode(raw[:], b64[:arrivalEncoded]); err != nil {
		return nil, time.Time{}, 0, fmt.Errorf("arrival line of %s is not canonical base64", origin)
	}
	linked := len(b64) > arrivalEncoded
	switch mark := [4]byte(raw[:4]); {
	case mark == id(linked):
	case mark == id(!linked) && linked:
		return nil, time.Time{}, 0, fmt.Errorf("arrival line of %s has %d characters of base64, want %d",
			origin, len(b64), arrivalEncoded)
	case mark == id(!linked):
		return nil, time.Time{}, 0, fmt.Errorf("arrival line of %s is one with links, and has none", origin)
	default:
		return nil, time.Time{}, 0, fmt.Errorf("last line is signed as %s, but is not its arrival line", origin)
	}
	if raw[12] != 0 || raw[13] != 0 {
		return nil, time.Time{}, 0, fmt.Errorf("arrival line of %s says something this program does not know", origin)
	}
	nanos := binary.BigEndian.Uint64(raw[4:])
	if nanos > math.MaxInt64 {
		return nil, time.Time{}, 0, fmt.Errorf("arrival time of %d ns is out of range", nanos)
	}
	return record[:start:start], time.Unix(0, int64(nanos)).UTC(), raw[arrivalLen-1], nil
}

// arrivalLine returns where the arrival line begins and its base64, which is long enough for a line without links.
func arrivalLine(origin string, record []byte) (start int, b64 []byte, err error) {
	if len(record) == 0 || record[len(record)-1] != '\n' {
		return 0, nil, errors.New("record does not end with a complete line")
	}
	start = bytes.LastIndexByte(record[:len(record)-1], '\n') + 1
	line := record[start : len(record)-1]
	b64, ok := bytes.CutPrefix(line, []byte(signaturePrefix+origin+" "))
	if !ok {
		return 0, nil, fmt.Errorf("last line is not the arrival line of %s", origin)
	}
	if len(b64) < arrivalEncoded {
		return 0, nil, fmt.Errorf("arrival line of %s has %d characters of base64, want %d",
			origin, len(b64), arrivalEncoded)
	}
	return start, b64, nil
}

// CheckStationNote checks a note that is about to become a record: it must be in canonical form and not carry an
// arrival line of origin yet, because a record shows one time of arrival only.
func CheckStationNote(origin string, note []byte) error {
	sigs, err := noteSignatures(note)
	if err != nil {
		return err
	}
	if NewSplitter(origin).among(sigs) {
		return fmt.Errorf("the note already has an arrival line of %s; take the station's own note", origin)
	}
	return nil
}
