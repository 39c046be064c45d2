// Package fhir reads HL7 FHIR R4 resources that other systems send: a
// NutritionOrder, alone or in a Bundle, becomes the draft of a regimen and a
// list of findings.
//
// An order from another system says less than a regimen needs, and published
// orders contradict themselves. Nothing here resolves or scales anything: each
// contradiction is said with both numbers, and a person decides. What the
// reader did not use is listed by path, since the typed model drops unknown
// fields silently.
package fhir
