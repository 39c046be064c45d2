// Package carrier takes texts out to phones and reads what comes in: the signed
// HTTP gateway (Standard Webhooks), the pretend phones of the demo, numbers, and
// the pace of trying again.
//
// It keeps nothing: what was sent, and what came in, is the store's. It knows
// nothing of households. What it returns as an error never holds a phone number
// or the words of a text, so that an error may be logged.
package carrier
