package run

import "embed"

// SourceText is this package's own source, without its tests: see
// readmodel.Fingerprint.
//
//go:embed *[^t].go *[^s]t.go
var SourceText embed.FS
