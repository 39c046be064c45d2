// Package flows embeds the clinical content that Hearthline ships: protocols,
// messages, teaching texts, limits and word lists, all of them unsigned
// samples until a licensed clinician signs them.
package flows

import "embed"

// FS holds the shipped flows; service may be given a folder of its own instead.
//
//go:embed *
var FS embed.FS
