package report

import "embed"

// SourceText is this package's own source, without its tests: two programs with the same write the same text.
//
//go:embed report.go
var SourceText embed.FS
