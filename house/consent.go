package house

// UsualConsent is what a customer signs where the house has no text of its own; an English text of the catalogue.
const UsualConsent = "I agree that the panel is worked from behind or pulled from the front without paint. I was told: paint under strain can crack or come off, above all old or repainted film; a trace of a sharp or stretched mark may stay to be seen; trim and clips may break when they come off. The flaws noted here were there before."

// ConsentText is the text to sign; say puts the usual one into the reader's language.
func (h House) ConsentText(say func(english string) string) string {
	if h.Consent != "" {
		return h.Consent
	}
	return say(UsualConsent)
}
