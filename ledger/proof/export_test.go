package proof

import "bytes"

// Archive returns the one archive of the files, whatever the last of them says as a manifest.
func Archive(files []File) ([]byte, error) {
	parts, err := layOut(files)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	for _, p := range parts {
		out.Write(p.data)
	}
	return out.Bytes(), nil
}

// CheckArchiveSize is the limit of what an archive holds.
var CheckArchiveSize = checkArchiveSize
