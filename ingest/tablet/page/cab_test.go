package page_test

import (
	"context"
	"net/http/httptest"
	"testing"
	"time"

	"hopperbook/ingest/tablet"
	"hopperbook/ingest/tablet/page"
	"hopperbook/ingest/tablet/page/pagetest"
)

// cab is a browser in front of the page of an agent.
type cab struct {
	*pagetest.Cab
	server *httptest.Server
}

func enter(t *testing.T, ctx context.Context, agent tablet.Agent, wide, high int64) *cab {
	t.Helper()
	server := serve(t, agent, page.Options{Coalesce: 20 * time.Millisecond})
	return &cab{pagetest.Enter(t, ctx, server.URL, wide, high), server}
}
