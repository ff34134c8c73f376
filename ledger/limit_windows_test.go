package ledger_test

import "errors"

// limitFileSize can't make files full here.
func limitFileSize(uint64) error { return errors.New("the size of files has no limit on Windows") }
