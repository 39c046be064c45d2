// Package smpp is a carrier over SMPP v3.4: one transceiver link to a message
// centre, kept up by the package itself.
//
// Texts go out within a window of unanswered ones, long ones in parts with a
// user data header. What comes in is answered only once it is stored; its
// parts are held until the whole is there, or until waiting longer would be
// worse than reading it in pieces.
//
// What the protocol does not give, the package cannot make up: a message
// centre honours no idempotency key, and gives no lasting id to what comes in.
// So a text that comes in again because our answer to it was lost on its way,
// or with the process, is taken as a new one: twice rather than never.
//
// Section numbers are those of "Short Message Peer to Peer Protocol
// Specification v3.4, issue 1.2".
package smpp
