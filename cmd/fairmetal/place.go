package main

import (
	"context"
	"errors"
	"strings"

	"fairmetal/blob"
	"fairmetal/store"
)

// place is where a workshop lies.
type place struct {
	Dir   string `help:"Folder of the workshop." default:"workshop" placeholder:"DIR"`
	Store string `help:"Shared workshop: its records in PostgreSQL, postgres://USER@HOST/DATABASE." env:"FAIRMETAL_STORE" placeholder:"ADDRESS"`
	Blobs string `help:"Photos and results of a shared workshop: s3://HOST:PORT/BUCKET, or a folder that all its computers reach." env:"FAIRMETAL_BLOBS" placeholder:"PLACE"`
}

// files opens the place of photos and results.
func (p place) files(ctx context.Context) (blob.Store, error) {
	switch {
	case strings.HasPrefix(p.Blobs, "s3://"):
		return blob.OpenS3(ctx, p.Blobs)
	case p.Blobs != "":
		return blob.Disk{Dir: p.Blobs}, nil
	case p.Store != "":
		return nil, errors.New("a shared workshop needs --blobs: a bucket, or a folder that all its computers reach")
	}
	return store.Blobs(p.Dir), nil
}

// open opens the workshop to work on it.
func (p place) open(ctx context.Context) (*store.Store, error) {
	if p.Store == "" {
		return store.Open(ctx, p.Dir)
	}
	files, err := p.files(ctx)
	if err != nil {
		return nil, err
	}
	return store.OpenShared(ctx, p.Store, files)
}

// look opens the workshop for reading.
func (p place) look(ctx context.Context) (*store.Snapshot, blob.Store, error) {
	files, err := p.files(ctx)
	if err != nil {
		return nil, nil, err
	}
	if p.Store != "" {
		snap, err := store.LookShared(ctx, p.Store)
		return snap, files, err
	}
	snap, err := store.Look(ctx, p.Dir)
	return snap, files, err
}
