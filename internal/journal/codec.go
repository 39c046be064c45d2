package journal

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Encode writes an entry as one line of JSON that a person can read.
func Encode(e Entry) ([]byte, error) {
	e.V = CodecVersion
	if err := e.check(); err != nil {
		return nil, err
	}
	return json.Marshal(e)
}

// Decode reads what Encode of this or an earlier version wrote. A field it
// does not know is an error: dropping one silently would change the past.
func Decode(b []byte) (Entry, error) {
	var head struct {
		V int `json:"v"`
	}
	if err := json.Unmarshal(b, &head); err != nil {
		return Entry{}, fmt.Errorf("journal entry: %w", err)
	}
	if head.V < 1 || head.V > CodecVersion {
		return Entry{}, fmt.Errorf("journal entry: codec version %d, this program reads 1 to %d", head.V, CodecVersion)
	}
	var e Entry
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&e); err != nil {
		return Entry{}, fmt.Errorf("journal entry: %w", err)
	}
	return e, e.check()
}

// check says whether exactly the payload that Kind names is set.
func (e Entry) check() error {
	set := map[Kind]bool{
		KindEnrolled: e.Enrolled != nil, KindRegimen: e.Regimen != nil,
		KindDayOpened: e.DayOpened != nil, KindDayClosed: e.DayClosed != nil,
		KindPrompted: e.Prompted != nil, KindAskedAgain: e.AskedAgain != nil,
		KindNotAsked: e.NotAsked != nil, KindUnanswered: e.Unanswered != nil,
		KindTextIn: e.TextIn != nil, KindFed: e.Fed != nil, KindDone: e.Done != nil,
		KindCaseOpened: e.CaseOpened != nil, KindCaseText: e.CaseText != nil,
		KindCaseMoved: e.CaseMoved != nil, KindTextOut: e.TextOut != nil,
		KindReceipt: e.Receipt != nil, KindConsent: e.Consent != nil,
		KindPaused: e.Paused != nil, KindStranger: e.Stranger != nil,
		KindLevel: e.Level != nil, KindTalked: e.Talked != nil, KindCaseJudged: e.CaseJudged != nil,
	}
	if _, known := set[e.Kind]; !known {
		return fmt.Errorf("journal entry %d: kind %q is not known", e.Seq, e.Kind)
	}
	for kind, is := range set {
		if is != (kind == e.Kind) {
			return fmt.Errorf("journal entry %d of kind %q: payload %q set is %t", e.Seq, e.Kind, kind, is)
		}
	}
	return nil
}
