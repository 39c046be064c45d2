package household

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"hearthline/internal/journal"
	"hearthline/internal/regimen"
)

// Asking holds how patiently a household is asked and when a report counts as
// far from its prescription: the content of flows/asking.yaml, which names the
// source of each value.
type Asking struct {
	SecondAskAfter   Span      `yaml:"second_ask_after"`
	SilentAfter      Span      `yaml:"silent_after"`
	LateBeyondUse    Span      `yaml:"late_beyond_use"`
	AnswerWindow     Span      `yaml:"answer_window"`
	RemindLater      Span      `yaml:"remind_later"`
	AtOnceOverdue    Span      `yaml:"at_once_overdue"`
	BeforeNextAtMost Span      `yaml:"before_next_at_most"`
	HelpAgainAfter   Span      `yaml:"help_again_after"`
	StartEarly       Span      `yaml:"start_early"`
	ShortUnder       Share     `yaml:"short_under"`
	OverAbove        Share     `yaml:"over_above"`
	DayList          DayListBy `yaml:"day_list"`
	// Questions and Levels are the phrases, by language, of what the regimen
	// answers (left, ends, next, water) and of the levels a family may ask for.
	Questions map[string]map[string][]string `yaml:"questions"`
	Levels    map[string]map[string][]string `yaml:"levels"`
	Pause     map[string]map[string][]string `yaml:"pause"`    // asked: the words that pause the reminders
	JustNow   map[string]map[string][]string `yaml:"just_now"` // now: the words that put a start at the time of the text
}

// Span is a time in minutes with what it decides and where it comes from.
type Span struct {
	Minutes journal.Minutes `yaml:"minutes"`
	Decides string          `yaml:"decides"`
	Source  string          `yaml:"source"`
}

// Share is a whole percentage with what it decides and where it comes from.
type Share struct {
	Percent int64  `yaml:"percent"`
	Decides string `yaml:"decides"`
	Source  string `yaml:"source"`
}

// DayListBy says when the cases of the day list are due.
type DayListBy struct {
	At       string   `yaml:"at"`
	Weekdays []string `yaml:"weekdays"`
	Decides  string   `yaml:"decides"`
	Source   string   `yaml:"source"`

	minute int     // of the day
	days   [7]bool // by time.Weekday
}

var weekdays = map[string]time.Weekday{"sun": 0, "mon": 1, "tue": 2, "wed": 3, "thu": 4, "fri": 5, "sat": 6}

// ParseAsking reads asking.yaml. Its errors name file, field and what would be
// right; unknown fields are errors with their line.
func ParseAsking(file string, src []byte) (Asking, error) {
	var a Asking
	if err := decodeYAML(file, src, &a); err != nil {
		return Asking{}, err
	}
	var errs []error
	span := func(field string, s Span) {
		if s.Minutes < 1 || s.Minutes > 7*24*60 {
			errs = append(errs, fmt.Errorf("%s: %s.minutes is %d; give 1 to 10080", file, field, s.Minutes))
		}
		if s.Source == "" || s.Decides == "" {
			errs = append(errs, fmt.Errorf("%s: %s needs both decides and source", file, field))
		}
	}
	span("second_ask_after", a.SecondAskAfter)
	span("silent_after", a.SilentAfter)
	span("late_beyond_use", a.LateBeyondUse)
	span("answer_window", a.AnswerWindow)
	span("remind_later", a.RemindLater)
	span("at_once_overdue", a.AtOnceOverdue)
	span("before_next_at_most", a.BeforeNextAtMost)
	span("help_again_after", a.HelpAgainAfter)
	span("start_early", a.StartEarly)
	if a.SilentAfter.Minutes <= a.SecondAskAfter.Minutes {
		errs = append(errs, fmt.Errorf("%s: silent_after (%d min) must be later than second_ask_after (%d min)", file, a.SilentAfter.Minutes, a.SecondAskAfter.Minutes))
	}
	if p := a.ShortUnder; p.Percent < 1 || p.Percent > 100 || p.Source == "" {
		errs = append(errs, fmt.Errorf("%s: short_under.percent is %d; give 1 to 100, with its source", file, p.Percent))
	}
	if p := a.OverAbove; p.Percent < 100 || p.Percent > 200 || p.Source == "" {
		errs = append(errs, fmt.Errorf("%s: over_above.percent is %d; give 100 to 200, with its source", file, p.Percent))
	}
	if t, err := time.Parse("15:04", a.DayList.At); err != nil {
		errs = append(errs, fmt.Errorf("%s: day_list.at is %q; give a time such as \"10:00\"", file, a.DayList.At))
	} else {
		a.DayList.minute = t.Hour()*60 + t.Minute()
	}
	for _, name := range a.DayList.Weekdays {
		d, ok := weekdays[name]
		if !ok {
			errs = append(errs, fmt.Errorf("%s: day_list.weekdays has %q; give mon, tue, wed, thu, fri, sat or sun", file, name))
			continue
		}
		a.DayList.days[d] = true
	}
	if len(a.DayList.Weekdays) == 0 {
		errs = append(errs, fmt.Errorf("%s: day_list.weekdays is empty; name at least one", file))
	}
	errs = append(errs, phrases(file, "questions", a.Questions, regimen.HowMuchLeft, regimen.WhenEnds, regimen.WhatNext, regimen.HowMuchWater)...)
	errs = append(errs, phrases(file, "levels", a.Levels, regimen.EachStep, regimen.EachFeed, regimen.Evening)...)
	errs = append(errs, phrases(file, "pause", a.Pause, "asked")...)
	errs = append(errs, phrases(file, "just_now", a.JustNow, "now")...)
	if err := errors.Join(errs...); err != nil {
		return Asking{}, err
	}
	return a, nil
}

// phrases checks that every name has phrases, in plain lower-case words.
func phrases[T ~string](file, field string, given map[string]map[string][]string, names ...T) (errs []error) {
	for _, name := range names {
		if len(given[string(name)]) == 0 {
			errs = append(errs, fmt.Errorf("%s: %s.%s has no phrases; give some for each language", file, field, name))
		}
	}
	for name, langs := range given {
		if !slices.Contains(names, T(name)) {
			errs = append(errs, fmt.Errorf("%s: %s.%s is not known; give one of %v", file, field, name, names))
		}
		for lang, list := range langs {
			for _, p := range list {
				if strings.Join(plainWords(p), " ") != p || p == "" {
					errs = append(errs, fmt.Errorf("%s: %s.%s.%s has %q; give plain lower-case words with single spaces", file, field, name, lang, p))
				}
			}
		}
	}
	return errs
}

// question says which question of the regimen the words ask; two at once are none.
func (a Asking) question(words []string) (string, bool) { return only(a.Questions, words, says) }

// level says which level the words ask for, if they are nothing else.
func (a Asking) level(words []string) (string, bool) {
	return only(a.Levels, words, whole)
}

// whole reports whether words are one of the phrases and nothing else.
func whole(words, phrases []string) bool {
	return slices.Contains(phrases, strings.Join(words, " "))
}

func only(all map[string]map[string][]string, words []string, match func(words, phrases []string) bool) (string, bool) {
	found := ""
	for name, langs := range all {
		for _, phrases := range langs {
			if match(words, phrases) {
				if found != "" && found != name {
					return "", false
				}
				found = name
			}
		}
	}
	return found, found != ""
}

// after returns the first working morning's due time that is later than t, in t's zone.
func (d DayListBy) after(t time.Time) time.Time {
	for i := range 8 {
		due := time.Date(t.Year(), t.Month(), t.Day()+i, 0, d.minute, 0, 0, t.Location())
		if d.days[due.Weekday()] && due.After(t) {
			return due
		}
	}
	return t.AddDate(0, 0, 1)
}
