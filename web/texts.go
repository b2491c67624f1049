package web

import (
	"encoding/json"
	"html/template"
	"io/fs"
	"regexp"

	"fairmetal/words"
)

// said finds the texts that scripts say: t("English text").
var said = regexp.MustCompile(`\bt\("((?:[^"\\]|\\.)*)"`)

// scriptTexts is a JSON object of the scripts' texts in a language.
func scriptTexts(l words.Lang) (template.JS, error) {
	texts := map[string]string{}
	names, err := fs.Glob(files, "assets/*.js")
	if err != nil {
		return "", err
	}
	for _, n := range names {
		src, err := files.ReadFile(n)
		if err != nil {
			return "", err
		}
		for _, m := range said.FindAllSubmatch(src, -1) {
			if v := l.T(string(m[1])); v != string(m[1]) {
				texts[string(m[1])] = v
			}
		}
	}
	b, err := json.Marshal(texts)
	return template.JS(b), err
}
