package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"hearthline/flows"
	"hearthline/internal/reply"
)

// readCmd reads texts as JSON Lines and writes a reading a line, in order. It
// needs no store and no network.
type readCmd struct {
	Flows string `help:"Folder of flows to read the word lists from; without it those shipped." type:"existingdir" placeholder:"DIR"`
}

// Help is what --help adds.
func (readCmd) Help() string {
	return `One JSON object a line in: id, text, and where known lang (en, es), asked {"kind": feed_start, feed_end, flush, bag_change or checkin, "expected_ml", "container_ml"} and terms (further words to judge). One object a line out, in order: given_ml, flush_ml, done, present and absent symptoms, intent, handling (auto, nurse, emergency), why, facts with the words that say so, and the words left unread.

  echo '{"id":"1","text":"gave 150 then he threw up twice","asked":{"kind":"feed_end","expected_ml":240}}' | hearthline read`
}

// Run reads until the input ends. A line that is no text is an error that
// names its number; what was read before it has been written.
func (c *readCmd) Run(s *streams) error {
	var lists *reply.Lists
	var err error
	if c.Flows != "" {
		lists, err = reply.Load(os.DirFS(c.Flows))
	} else {
		lists, err = reply.Load(flows.FS)
	}
	if err != nil {
		return err
	}
	return readTexts(lists, s.in, s.out)
}

// longestText bounds one line of input, in bytes.
const longestText = 4 << 20

func readTexts(lists *reply.Lists, in io.Reader, out io.Writer) error {
	lines := bufio.NewReaderSize(in, 1<<16)
	w := bufio.NewWriterSize(out, 1<<16)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	var long []byte
	for n := 1; ; n++ {
		line, err := lines.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			long = append(long[:0], line...)
			for errors.Is(err, bufio.ErrBufferFull) && len(long) < longestText {
				line, err = lines.ReadSlice('\n')
				long = append(long, line...)
			}
			if len(long) >= longestText {
				return errors.Join(w.Flush(), fmt.Errorf("line %d: longer than %d bytes", n, longestText))
			}
			line = long
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return errors.Join(w.Flush(), fmt.Errorf("line %d: %w", n, err))
		}
		if len(trimmed(line)) > 0 {
			t := struct {
				reply.Text
				Body *string `json:"text"`
			}{}
			jerr := json.Unmarshal(line, &t)
			if jerr == nil && t.Body == nil {
				jerr = errors.New(`"text" is missing`)
			}
			if jerr != nil {
				return errors.Join(w.Flush(), fmt.Errorf("line %d: %w: want one object a line with id and text", n, jerr))
			}
			if jerr := enc.Encode(lists.Read(textOf(t.Text, *t.Body))); jerr != nil {
				return jerr
			}
		}
		if err != nil {
			return w.Flush()
		}
		if lines.Buffered() == 0 { // whoever types or pipes line by line has each answer at once
			if ferr := w.Flush(); ferr != nil {
				return ferr
			}
		}
	}
}

func trimmed(line []byte) []byte {
	for len(line) > 0 && (line[len(line)-1] == '\n' || line[len(line)-1] == '\r' || line[len(line)-1] == ' ') {
		line = line[:len(line)-1]
	}
	return line
}

func textOf(t reply.Text, body string) reply.Text {
	t.Text = body
	return t
}
