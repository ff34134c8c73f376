package pictures

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
)

func readJPEG(file []byte, l Limits) (*image.Gray, error) {
	c, err := jpeg.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return nil, damaged("JPEG", err)
	}
	if err := l.fits(c.Width, c.Height); err != nil {
		return nil, err
	}
	m, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, damaged("JPEG", err)
	}
	return turned(grey(m), orientationOf(file)), nil
}

// orientationOf reads how the camera was held out of a JPEG's Exif segment; 1 where it
// doesn't say.
func orientationOf(file []byte) int {
	for at := 2; at+4 <= len(file) && file[at] == 0xff; {
		marker, n := file[at+1], int(binary.BigEndian.Uint16(file[at+2:]))
		if marker == 0xff { // a fill byte
			at++
			continue
		}
		if marker == 0xda || n < 2 || at+2+n > len(file) { // the picture's data begins
			return 1
		}
		if body, ok := bytes.CutPrefix(file[at+4:at+2+n], []byte("Exif\x00\x00")); ok && marker == 0xe1 {
			return orientationIn(body)
		}
		at += 2 + n
	}
	return 1
}

// orientationIn reads it out of the TIFF directory that Exif is.
func orientationIn(b []byte) int {
	const entry, tag = 12, 0x0112
	order := byteOrder(b)
	if order == nil || len(b) < 8 {
		return 1
	}
	at := int64(order.Uint32(b[4:]))
	if at+2 > int64(len(b)) {
		return 1
	}
	n := int64(order.Uint16(b[at:]))
	for i := range n {
		e := at + 2 + i*entry
		if e+entry > int64(len(b)) {
			return 1
		}
		if order.Uint16(b[e:]) == tag {
			return int(order.Uint16(b[e+8:]))
		}
	}
	return 1
}

// byteOrder is that of a TIFF header, nil where there is none.
func byteOrder(b []byte) binary.ByteOrder {
	switch {
	case bytes.HasPrefix(b, []byte("II*\x00")):
		return binary.LittleEndian
	case bytes.HasPrefix(b, []byte("MM\x00*")):
		return binary.BigEndian
	}
	return nil
}
