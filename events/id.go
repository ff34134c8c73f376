package events

import (
	"encoding/binary"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// DerivedID returns the UUIDv7 (RFC 9562, 5.7) whose 48-bit time is t in
// milliseconds and whose 74 random bits come from a digest. The same
// observation thus always has the same id, so recording it again, after a
// crash for example, is the same event.
func DerivedID(t time.Time, digest [32]byte) string {
	var u uuid.UUID
	var ms [8]byte
	binary.BigEndian.PutUint64(ms[:], uint64(t.UnixMilli()))
	copy(u[:], ms[2:])
	copy(u[6:], digest[:10])
	u[6] = 0x70 | u[6]&0x0f
	u[8] = 0x80 | u[8]&0x3f
	return u.String()
}

// IDTime returns the time in a UUIDv7, to the millisecond.
func IDTime(id string) (time.Time, error) {
	u, err := uuid.Parse(id)
	if err != nil || u.Version() != 7 || u.Variant() != uuid.RFC4122 {
		return time.Time{}, fmt.Errorf("%q is not a version 7 UUID", id)
	}
	var ms [8]byte
	copy(ms[2:], u[:6])
	return time.UnixMilli(int64(binary.BigEndian.Uint64(ms[:]))).UTC(), nil
}

// checkUUID accepts the one written form that is compared and hashed:
// 36 characters, small letters, version 7.
func checkUUID(what, s string) error {
	u, err := uuid.Parse(s)
	if err != nil || u.Version() != 7 || u.Variant() != uuid.RFC4122 || u.String() != s {
		return fmt.Errorf("%s %q is not a version 7 UUID in small letters", what, s)
	}
	return nil
}
