package regimen

// Text says the prompt in a language: what to do in the order in which it is
// done, then what is asked. It fits two SMS segments.
func (p *Plan) Text(pr Prompt, w Phrases) string {
	return ""
}
