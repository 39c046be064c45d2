// Package redisstore is the store in Redis, 7.0 or later.
//
// Every key of a branch carries the branch's hash tag, "{b:north}", so that all
// of it lies in one slot and one script can change it together. Whatever writes
// more than one key is one Lua script (scripts/, one file each), and every key
// that a script touches is handed to it. Scripts never read the clock.
//
// Nothing is repeated by the client: a call whose answer was lost returns an
// error, and the caller reads again. A repeated Commit finds its inbox item
// gone or its version stale; a repeated Accept finds its carrier id.
//
// What Redis cannot answer is an error that wraps Redis's own, never zero or empty.
//
// StartChild runs a redis-server found on the PATH for those who have no other.
package redisstore
