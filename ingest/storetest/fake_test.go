package storetest

import "testing"

func TestFake(t *testing.T) {
	Run(t, func(*testing.T) Store { return &Fake{} })
}
