// Package seal encrypts what is personal (names, phones, texts) before it
// reaches a store, an archive or a backup. It is the only room that imports a
// cipher, and it invents none: XChaCha20-Poly1305 (draft-irtf-cfrg-xchacha-03)
// with random 192-bit nonces, keys derived by HKDF-SHA256 (RFC 5869), phones
// found by HMAC-SHA256 (RFC 2104).
//
// A sealed piece is
//
//	1 byte   format: 1, sealed under a key derived from the named master key
//	1 byte   length of the master key's id, 1 to 32
//	n bytes  the master key's id
//	24 bytes nonce
//	the rest ciphertext and a tag of 16 bytes
//
// Everything before the nonce, and branch, household and field, are bound to it
// as associated data: a piece opens only in the place for which it was sealed.
// Another way of keeping keys (a wrapped key a household, say) is another
// format byte; callers see nothing of it.
//
// Every household has its own derived key. The household "" stands for the
// service itself: what is sealed before its household is known.
package seal
