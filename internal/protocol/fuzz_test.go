package protocol

import (
	"io/fs"
	"testing"
	"testing/fstest"

	"hearthline/flows"
)

// alone is a tree that holds one file.
func alone(name string, content []byte) fs.FS {
	return fstest.MapFS{name: &fstest.MapFile{Data: content}}
}

func seed(f *testing.F, name string) {
	b, err := fs.ReadFile(flows.FS, name)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
}

// A protocol file that loads can be judged, drawn and proved, whatever it holds.
func FuzzProtocolFile(f *testing.F) {
	s := shipped(f)
	env, err := newEnv(s.vocab)
	if err != nil {
		f.Fatal(err)
	}
	seed(f, "protocols/fever.yaml")
	seed(f, "protocols/unread.yaml")
	f.Add([]byte("opens: {codes: [fever]}\nrank: 1\nrules:\n  - {id: a, when: 'count > 3'}\nquestions: [{id: b, ask: q.wet, answer: number, min: 3, max: 1}]\n"))
	f.Add([]byte("- a\n- b\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := s.loadProtocol(alone("protocols/fever.yaml", b), "protocols/fever.yaml", env)
		if err != nil {
			return
		}
		facts := Facts{Handling: "emergency", Present: symptoms("fever")}
		if v := s.judge(p, facts, s.valuesOf(facts)); v.Answer != "emergency" {
			t.Errorf("an emergency is judged %+v", v)
		}
		s.draw(p)
	})
}

func FuzzMessagesFile(f *testing.F) {
	seed(f, "messages/es.yaml")
	f.Add([]byte("a: b\na: c\n"))
	f.Add([]byte("a:\n  b: {c}\n"))
	f.Add([]byte("a: \"{by} {by} {\"\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := LoadMessages(alone("messages/en.yaml", b))
		if (m == nil) == (err == nil) {
			t.Fatalf("half-loaded: %v, %v", m != nil, err)
		}
		if m == nil {
			return
		}
		for _, key := range m.keys("en") {
			if m.Phrases("es").Say(key, nil) == "" {
				t.Errorf("%q says nothing", key)
			}
			if c := CountEnglish(m.text["en"][key]); c.Sentences > c.Words || c.Words > c.Syllables {
				t.Errorf("%q is counted %+v: more sentences than words, or words than syllables", key, c)
			}
			if c := CountSpanish(m.text["en"][key]); c.Sentences > c.Words || c.Words > c.Syllables {
				t.Errorf("%q is counted %+v: more sentences than words, or words than syllables", key, c)
			}
		}
	})
}

func FuzzMarksFile(f *testing.F) {
	seed(f, "marks.yaml")
	f.Add([]byte("marks:\n  count: {source: a, words: {en: [b]}}\n"))
	f.Add([]byte("marks:\n  'two words': {source: a, words: {en: [b]}}\nnot_after: {en: [x]}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := loadMarks(alone("marks.yaml", b))
		if err != nil {
			return
		}
		if got := m.find("green and b, x b"); len(got) != len(m.list) {
			t.Errorf("%d flags for %d marks", len(got), len(m.list))
		}
	})
}

func FuzzHear(f *testing.F) {
	s := shipped(f)
	facts := toddler("vomiting")
	v, _ := s.Judge(facts)
	f.Add("y", "about 8 times")
	f.Add("no sé", "\xff\x00")
	f.Fuzz(func(t *testing.T, first, second string) {
		talk, _, ok := s.Begin(facts, v, 0)
		if !ok {
			t.Fatal("asks nothing")
		}
		for _, text := range []string{first, second} {
			var turn Turn
			talk, turn = s.Hear(talk, facts, text, minute)
			if moreUrgent(v.Answer, v.AnswerWithin, turn.Verdict.Answer, turn.Verdict.AnswerWithin) {
				t.Errorf("%q made the case later: %+v", text, turn.Verdict)
			}
		}
	})
}
