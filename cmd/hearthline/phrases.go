package main

import (
	"hearthline/internal/household"
	"hearthline/internal/web"
)

// phrases gives the pages the words of the flows.
func phrases(w *household.World) func(lang string) web.Phrases {
	return func(lang string) web.Phrases { return w.Protocols.Phrases(lang) }
}

// dispositions are the ways in which a case is closed, in the order of the message file.
func dispositions(w *household.World) []string { return w.Protocols.Phrases("en").Keys("disposition.") }
