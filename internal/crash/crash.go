//go:build !crashpoints

// Package crash marks the points between two steps at which the fault tests
// kill the whole process. In a normal build a point is nothing at all; the
// build tag crashpoints compiles them in.
package crash

// Here is a crash point. Points are named in DEVELOPERS.md.
func Here(string) {}
