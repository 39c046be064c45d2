package redisstore

import (
	"crypto/sha256"
	"encoding/base64"
	"strconv"

	"hearthline/internal/journal"
)

// keys names every key of one branch. No key is built anywhere else.
type keys struct {
	tag string // "{b:north}:"

	inbox     string                  // STREAM  undecided items: g when accepted, b sealed item
	due       string                  // ZSET    household by its next instant
	queue     string                  // ZSET    case by answer-by
	queueRows string                  // HASH    case -> sealed row
	out       [journal.Classes]string // ZSET    text by not-before, one a class
	texts     string                  // HASH    text -> sealed text
	ranks     string                  // ZSET    household by the negative of its rank
	rows      string                  // HASH    household -> sealed summary row
	revision  string                  // STRING  counts commits
	lease     string                  // STRING  holder of the engine's lease
	round     string                  // STRING  end of the engine's last round
}

func newKeys(id journal.BranchID) keys {
	tag := "{b:" + string(id) + "}:"
	k := keys{
		tag:       tag,
		inbox:     tag + "inbox",
		due:       tag + "due",
		queue:     tag + "queue",
		queueRows: tag + "queue:rows",
		texts:     tag + "out:texts",
		ranks:     tag + "ranks",
		rows:      tag + "rows",
		revision:  tag + "revision",
		lease:     tag + "lease",
		round:     tag + "round",
	}
	for c := range k.out {
		k.out[c] = tag + "out:" + strconv.Itoa(c)
	}
	return k
}

// state is a household's state, "<version>:" and the sealed bytes.
func (k *keys) state(id journal.HouseholdID) string { return k.tag + "s:" + string(id) }

// journal is the list of a household's entries.
func (k *keys) journal(id journal.HouseholdID) string { return k.tag + "j:" + string(id) }

// phone is the set of a phone's households.
func (k *keys) phone(p journal.PhoneKey) string { return k.tag + "p:" + string(p) }

// seen remembers a carrier's id. A carrier may put anything into its ids, of
// any length, so the key holds the first half of their SHA-256.
func (k *keys) seen(carrierID string) string {
	sum := sha256.Sum256([]byte(carrierID))
	return k.tag + "seen:" + base64.RawURLEncoding.EncodeToString(sum[:16])
}
