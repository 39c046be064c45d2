package reply

import "slices"

// Codes are the symptom and problem codes, in the order of the contract.
var Codes = []string{
	"nausea", "vomiting", "diarrhea", "constipation", "bloating", "belly_pain", "reflux", "choking", "breathing",
	"tube_out", "tube_moved", "tube_blocked", "leak", "skin", "site_infection", "bleeding", "fever", "drowsy",
	"dehydration", "low_sugar", "seizure", "pump", "supplies", "caregiver_strain", "self_harm", "other_worry",
}

func known(code string) bool { return slices.Contains(Codes, code) }
