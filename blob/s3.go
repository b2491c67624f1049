package blob

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"
)

// S3 keeps blobs as objects of a bucket, under the same names as on disk.
type S3 struct {
	client *minio.Client
	bucket string
}

// OpenS3 opens a bucket by an address of the form
//
//	s3://HOST:PORT/BUCKET?region=REGION&plain=1
//
// plain leaves TLS out, for a store on this computer or behind a tunnel. Key and secret come from FAIRMETAL_S3_KEY and
// FAIRMETAL_S3_SECRET, so that they stand on no command line. The bucket is made where it is missing.
func OpenS3(ctx context.Context, address string) (*S3, error) {
	const form = "write it as s3://HOST:PORT/BUCKET"
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "s3" || u.Host == "" || u.User != nil {
		// The address itself is not repeated: somebody may have written the secret into it.
		return nil, fmt.Errorf("this is no address of a bucket; %s, and set FAIRMETAL_S3_KEY and FAIRMETAL_S3_SECRET", form)
	}
	s := &S3{bucket: strings.Trim(u.Path, "/")}
	if s.bucket == "" || strings.Contains(s.bucket, "/") {
		return nil, fmt.Errorf("the address names no bucket; %s", form)
	}
	region := u.Query().Get("region")
	if region == "" {
		region = "us-east-1" // the name that stores without regions take
	}
	// Whoever waits at a page hears within some seconds that the store does not answer.
	const tries = 4
	if s.client, err = minio.New(u.Host, &minio.Options{Creds: credentials.NewStaticV4(os.Getenv("FAIRMETAL_S3_KEY"), os.Getenv("FAIRMETAL_S3_SECRET"), ""), Secure: u.Query().Get("plain") == "", Region: region, MaxRetries: tries}); err != nil {
		return nil, fmt.Errorf("the bucket's address cannot be used (%w); %s", err, form)
	}
	there, err := s.client.BucketExists(ctx, s.bucket)
	if err == nil && !there {
		err = s.client.MakeBucket(ctx, s.bucket, minio.MakeBucketOptions{Region: region})
	}
	if err != nil {
		return nil, fmt.Errorf("the store of photos at %s cannot be reached (%w); check the address, FAIRMETAL_S3_KEY and FAIRMETAL_S3_SECRET", u.Host, err)
	}
	return s, nil
}

func key(hash string) string { return "blobs/" + hash[:2] + "/" + hash[2:] }

// Put writes an object; the store acknowledges it when it is safe. One that is there already is trusted only when it still holds its hash.
func (s *S3) Put(ctx context.Context, hash string, data []byte) error {
	if i, err := s.client.StatObject(ctx, s.bucket, key(hash), minio.StatObjectOptions{}); err == nil && i.Size == int64(len(data)) {
		if _, err := s.Get(ctx, hash); err == nil {
			return nil
		}
	}
	if _, err := s.client.PutObject(ctx, s.bucket, key(hash), bytes.NewReader(data), int64(len(data)), minio.PutObjectOptions{ContentType: "application/octet-stream"}); err != nil {
		return away(err)
	}
	return nil
}

// Get reads an object and checks it.
func (s *S3) Get(ctx context.Context, hash string) ([]byte, error) {
	if !Valid(hash) {
		return nil, ErrMissing
	}
	o, err := s.client.GetObject(ctx, s.bucket, key(hash), minio.GetObjectOptions{})
	if err != nil {
		return nil, away(err)
	}
	defer o.Close()
	data, err := io.ReadAll(o)
	var answer minio.ErrorResponse
	switch {
	case errors.As(err, &answer) && answer.Code == "NoSuchKey":
		return nil, ErrMissing
	case err != nil:
		return nil, away(err)
	case Hash(data) != hash:
		return nil, ErrTorn
	}
	return data, nil
}

// List tells every object of the bucket.
func (s *S3) List(ctx context.Context, f func(Info) error) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	for o := range s.client.ListObjects(ctx, s.bucket, minio.ListObjectsOptions{Recursive: true}) {
		if o.Err != nil {
			return o.Err
		}
		i := Info{Name: o.Key, Size: o.Size, Changed: o.LastModified}
		if h := strings.ReplaceAll(strings.TrimPrefix(o.Key, "blobs/"), "/", ""); Valid(h) && key(h) == o.Key {
			i.Hash = h
		}
		if err := f(i); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// Remove deletes an object that List told.
func (s *S3) Remove(ctx context.Context, i Info) error {
	return s.client.RemoveObject(ctx, s.bucket, i.Name, minio.RemoveObjectOptions{})
}
