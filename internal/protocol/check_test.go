package protocol

import (
	"io/fs"
	"maps"
	"strings"
	"testing"
	"testing/fstest"

	"hearthline/flows"
)

func TestShippedFlowsPassTheCheck(t *testing.T) {
	r := Check(flows.FS)
	for _, f := range r.Findings {
		t.Error(f)
	}
	t.Logf("%d protocols, %d cells, %d paths, %d texts, %d of %d files unsigned", r.Protocols, r.Cells, r.Paths, r.Texts, r.Unsigned, r.Files)
}

// tree is the shipped tree with some files replaced or rewritten.
func tree(t *testing.T, change func(files map[string]string)) (fsys fs.FS, changed func(protocol string) bool) {
	t.Helper()
	files := map[string]string{}
	err := fs.WalkDir(flows.FS, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(flows.FS, name)
		files[name] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	before := maps.Clone(files)
	change(files)
	m := fstest.MapFS{}
	for name, text := range files {
		m[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return m, func(protocol string) bool {
		name := "protocols/" + protocol + ".yaml"
		return files[name] != before[name]
	}
}

func swap(t *testing.T, files map[string]string, name, old, with string) {
	t.Helper()
	if !strings.Contains(files[name], old) {
		t.Fatalf("%s has no %q any more: this test breaks a line that is gone", name, old)
	}
	files[name] = strings.Replace(files[name], old, with, 1)
}

// Every breach that the check must find, put into otherwise good flows.
func TestCheckFindsEachBreach(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(t *testing.T, f map[string]string)
		want   string // in the finding
		at     string // file and line it names, or file alone
	}{
		{"a code that opens nothing", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/seizure.yaml", "codes: [seizure]", "triggers: [help]")
		}, `code "seizure" opens no protocol`, "flows"},
		{"an unknown code", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/seizure.yaml", "codes: [seizure]", "codes: [seizure, hiccups]")
		}, `is "hiccups", want one of`, "protocols/seizure.yaml:3"},
		{"an unknown field", func(t *testing.T, f map[string]string) {
			f["protocols/skin.yaml"] += "colour: red\n"
		}, `unknown field "colour"`, "protocols/skin.yaml"},
		{"a condition with a wrong type", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "age_months < 3", `age_months < "3"`)
		}, "no matching overload", "protocols/fever.yaml:15"},
		{"a condition on a fact that is not there", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "age_months < 3", "shoe_size < 3")
		}, "undeclared reference to 'shoe_size'", "protocols/fever.yaml:15"},
		{"a condition that compares two facts", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "age_months < 3", "age_months < tract_days")
		}, "other than one fact with one constant", "protocols/fever.yaml:15"},
		{"a condition that computes", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "age_months < 3", "age_months + 1 < 3")
		}, "other than one fact with one constant", "protocols/fever.yaml:15"},
		{"a tube kind that is not there", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "age_months < 3", `tube == "hose"`)
		}, `tube is never "hose"`, "protocols/fever.yaml:15"},
		{"a rule without a source", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", `    source: "38 C or more under 3 months is high risk; a parent's word for a fever counts (NICE NG143, 2019)"`+"\n", "")
		}, "want where the rule comes from", "protocols/fever.yaml:14"},
		{"a rule that lowers", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "      within_min: 20", "      within_min: 90")
		}, "rules only raise", "protocols/fever.yaml:17"},
		{"a rule that can never hold", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/vomiting.yaml", "'count >= 6'", "'count >= 6 && count < 3'")
		}, `rule "often" can never hold`, "protocols/vomiting.yaml"},
		{"advice without a wording", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "advice: case.fever", "advice: case.feverish")
		}, `messages have no "case.feverish"`, "protocols/fever.yaml:11"},
		{"an emergency that does not say to call", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "emergency_advice: emergency.general", "emergency_advice: case.fever")
		}, "does not say to call the emergency number", "protocols/fever.yaml:12"},
		{"taking out a gastrostomy", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/choking.yaml", `(tube == "nasogastric" || tube == "nasojejunal")`, `tube != "jejunostomy"`)
		}, "tells the family to take_out where it may be forbidden", "protocols/choking.yaml"},
		{"putting a tube back in a young tract", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/tube_out.yaml", "tract_days >= 56", "tract_days >= 14")
		}, "tells the family to put_back where it may be forbidden", "protocols/tube_out.yaml"},
		{"a reminder that contradicts the advice", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/belly.yaml", "hold: [feed_start, fill, bag_change]", "hold: [bag_change]")
		}, "while the prompt feed_start is not held", "protocols/belly.yaml:"},
		{"trouble that makes the answer later", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "'vomiting'", "'!vomiting'")
		}, "adding vomiting makes the answer later", "protocols/fever.yaml"},
		{"a question that is never asked", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "    sets: vomiting\n", "    sets: vomiting\n    when: 'count < 2 && count > 3'\n")
		}, `question "vomits" is never asked`, "protocols/fever.yaml:"},
		{"an answer that lowers", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "when: 'vomiting'", "when: '!vomiting'")
		}, "path: high no, hard_to_wake no, vomits yes", "protocols/fever.yaml:"},
		{"a silence that lowers", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "when: 'other_lines'", "when: 'no_answer == false'")
		}, "an answer makes the case later", "protocols/fever.yaml:"},
		{"five questions", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "questions:\n", "questions:\n"+strings.Repeat("  - {id: x, ask: q.wet, answer: yes_no}\n", 2))
		}, "want at most 4", "protocols/fever.yaml:"},
		{"a question without a wording", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "ask: q.wet", "ask: q.wetter")
		}, `messages have no "q.wetter"`, "protocols/fever.yaml:"},
		{"a question that sets nothing there is", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "sets: dehydration", "sets: thirst")
		}, `is "thirst", want a symptom code`, "protocols/fever.yaml:"},
		{"a protocol too big to sign", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/fever.yaml", "'drowsy || dehydration || site_infection || belly_pain'",
				"'"+strings.Join(Codes, " || ")+"'")
		}, "too big to sign", "protocols/fever.yaml"},
		{"a key that a language lacks", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/es.yaml", "ack.done:", "ack.did:")
		}, `key "ack.done" has no text in language "es"`, "messages/en.yaml:"},
		{"a placeholder that differs", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/es.yaml", "{ml}", "{minutes}")
		}, "has placeholders", "messages/es.yaml:"},
		{"a text of three segments", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/en.yaml", "ack.done: \"", "ack.done: \""+strings.Repeat("We have it all now. ", 16))
		}, "takes 3 segments", "messages/en.yaml:"},
		{"an accent that costs the second segment", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/es.yaml", "Pare la toma hasta entonces. Mantenga", "Pare la toma hasta ahí. Mantenga")
		}, "UCS-2: true", "messages/es.yaml:"},
		{"a hard English text", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/en.yaml", `ack.well: "Good to hear. Thank you."`, `ack.well: "Administration of additional formula necessitates immediate discontinuation of medication."`)
		}, "reads at grade", "messages/en.yaml:"},
		{"a hard Spanish text", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/es.yaml", `ack.well: "Nos alegra. Gracias."`, `ack.well: "La administración de cantidades adicionales requiere inmediatamente discontinuar medicamentos."`)
		}, "reads at", "messages/es.yaml:"},
		{"a name in a text", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/en.yaml", "Good to hear. Thank you.", "Good to hear. Thank you, says Mona.")
		}, `has "Mona" with a capital`, "messages/en.yaml:"},
		{"advice that does not say where help is", func(t *testing.T, f map[string]string) {
			swap(t, f, "messages/en.yaml", "Hard to breathe: call {emergency}.", "Hard to breathe: call us.")
			swap(t, f, "messages/es.yaml", "Si le cuesta respirar: {emergency}.", "Si le cuesta respirar, llame.")
		}, "does not name the emergency number", "messages/en.yaml:"},
		{"stopping a feed that must not stop", func(t *testing.T, f map[string]string) {
			swap(t, f, "advice.yaml", "    gap: gap.stop\n", "")
		}, "want what is said where feed must not stop", "advice.yaml:"},
		{"a second half that tells less", func(t *testing.T, f map[string]string) {
			swap(t, f, "advice.yaml", "    gap: gap.go\n", "    gap: gap.stop\n")
		}, "does not tell nothing_by_tube", "advice.yaml:"},
		{"two texts that contradict each other", func(t *testing.T, f map[string]string) {
			swap(t, f, "protocols/tube_moved.yaml", "advice: case.tube_moved", "advice: case.tube_out")
		}, "may be told to put_back", "advice.yaml:"},
		{"a file that nothing reads", func(t *testing.T, f map[string]string) {
			f["protocols/old/fever.yml"] = "x: 1\n"
		}, "is read by nothing", "protocols/old/fever.yml"},
		{"a placeholder without a longest value", func(t *testing.T, f map[string]string) {
			swap(t, f, "placeholders.yaml", "  minutes:", "  moments:")
			swap(t, f, "messages/en.yaml", "Fine, text us when it is done.", "Fine, we ask in {minutes} minutes.")
			swap(t, f, "messages/es.yaml", "Bien. Avise cuando lo haya hecho.", "Bien. Otra vez en {minutes} minutos.")
		}, "no longest value", "messages/en.yaml:"},
		{"a signature of a file that is gone", func(t *testing.T, f map[string]string) {
			swap(t, f, "signoff.yaml", "files: {}", "files:\n  protocols/gone.yaml: {sha256: a, name: b, role: c, licence: d, signed: 2026-05-02, until: 2027-05-02}")
		}, "not in the flows tree", "signoff.yaml:"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := check(tree(t, func(f map[string]string) { tc.change(t, f) }))
			for _, f := range r.Findings {
				if strings.Contains(f.String(), tc.want) && strings.HasPrefix(f.String(), tc.at) {
					return
				}
			}
			t.Errorf("no finding at %s with %q; findings: %v", tc.at, tc.want, r.Findings)
		})
	}
}
