package site

// SetMeanwhile has something done before a folder that is opened is this program's.
func (o *Options) SetMeanwhile(do func()) { o.meanwhile = do }
