package web

// catalogue holds the translations of the app's texts by language; the English text is the key, and what is missing stays English.
var catalogue = map[string]map[string]string{"en": {}}

// text returns a text in the app's language.
func text(english string) string {
	if v, ok := catalogue["en"][english]; ok {
		return v
	}
	return english
}
