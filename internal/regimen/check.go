package regimen

// check looks for contradictions once every field could be read.
func (r *reader) check() {}
