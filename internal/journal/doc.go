// Package journal holds what every other room shares: units, ids, and the
// entries of a household's journal with their codec.
//
// A journal is append-only and holds outcomes: state and ledger are folds of
// its entries, so what was decided yesterday reads the same tomorrow, whatever
// code or flows are then in force. The package imports nothing of ours and
// does no I/O.
package journal
