package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"fairmetal/door"
	"fairmetal/job"
	"fairmetal/store"
)

type peopleCmd struct {
	place
	Add        string `help:"Let somebody of this name in; the passphrase is read from standard input." placeholder:"NAME"`
	Role       string `help:"Role of who is added: owner, technician, viewer." enum:"owner,technician,viewer" default:"technician"`
	Passphrase string `help:"Give this person a new passphrase, read from standard input." placeholder:"NAME"`
	Remove     string `help:"Take this person's access away." placeholder:"NAME"`
	JSON       bool   `name:"json" help:"Print JSON."`
}

// Run lists who may sign in, and lets people in and out.
func (c *peopleCmd) Run(ctx context.Context, s streams) error {
	st, err := c.open(ctx)
	if err != nil {
		return err
	}
	defer st.Close()
	ctx = store.As(ctx, "command line")
	switch {
	case c.Add != "":
		p, err := readPassphrase(s)
		if err != nil {
			return err
		}
		if _, err := door.New(st).AddUser(ctx, c.Add, job.Role(c.Role), p); err != nil {
			return err
		}
	case c.Passphrase != "":
		u, err := named(ctx, st, c.Passphrase)
		if err != nil {
			return err
		}
		p, err := readPassphrase(s)
		if err != nil {
			return err
		}
		hash, err := door.Hash(u.Name, p)
		if err != nil {
			return err
		}
		if err := st.SetPassphrase(ctx, u.ID, hash); err != nil {
			return err
		}
	case c.Remove != "":
		u, err := named(ctx, st, c.Remove)
		if err != nil {
			return err
		}
		if err := st.RemoveUser(ctx, u.ID); err != nil {
			return err
		}
	}
	users, err := st.Users(ctx)
	if err != nil {
		return err
	}
	type line struct {
		Name string   `json:"name"`
		Role job.Role `json:"role"`
	}
	lines := []line{}
	for _, u := range users {
		lines = append(lines, line{u.Name, u.Role})
	}
	if c.JSON {
		return printJSON(s.Out, lines)
	}
	for _, l := range lines {
		fmt.Fprintf(s.Out, "%-10s %s\n", l.Role, l.Name)
	}
	if len(lines) == 0 {
		fmt.Fprintln(s.Out, "nobody may sign in yet; fairmetal people --add NAME --role owner")
	}
	return nil
}

func named(ctx context.Context, st *store.Store, name string) (store.User, error) {
	u, err := st.UserNamed(ctx, name)
	if errors.Is(err, store.ErrNotFound) {
		return u, fmt.Errorf("nobody called %q may sign in; fairmetal people lists who may", name)
	}
	return u, err
}

// readPassphrase reads one line: a passphrase on the command line would stand in the shell's history.
func readPassphrase(s streams) (string, error) {
	fmt.Fprintln(s.Err, "passphrase, 12 letters or more, then Enter (it is shown while you type):")
	line, err := bufio.NewReader(os.Stdin).ReadString('\n')
	if line == "" && err != nil {
		return "", fmt.Errorf("no passphrase was typed (%w); try again", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}
