package main

import (
	"fmt"
	"os"
	"strings"
)

// passphraseFile is where the passphrase of a backup stands: never on a command line, which others on the computer can read.
type passphraseFile struct {
	PassphraseFile string `help:"File whose first line is the backup's passphrase." type:"existingfile" placeholder:"FILE"`
}

func (p passphraseFile) read() (string, error) {
	if p.PassphraseFile == "" {
		return "", nil
	}
	data, err := os.ReadFile(p.PassphraseFile)
	if err != nil {
		return "", err
	}
	line, _, _ := strings.Cut(string(data), "\n")
	if line = strings.TrimRight(line, "\r"); line == "" {
		return "", fmt.Errorf("the first line of %s is empty; write the passphrase there", p.PassphraseFile)
	}
	return line, nil
}
