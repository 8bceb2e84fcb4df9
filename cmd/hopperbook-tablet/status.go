package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/ingest/tablet"
	"hopperbook/schemas/fault"
)

func statusCommand() *cli.Command {
	return &cli.Command{
		Name:  "status",
		Usage: "how the running tablet stands: receiver, work, what the office has not confirmed, link",
		Description: "Asks the tablet that runs on this machine.\n\n" +
			"Example:\n  hopperbook-tablet status\n  hopperbook-tablet status --json",
		Flags: []cli.Flag{listenFlag(), &cli.BoolFlag{Name: "json", Usage: "print all that the page is shown, as JSON"}},
		Action: func(c *cli.Context) error {
			if err := noArguments(c); err != nil {
				return err
			}
			raw, err := askView(c.Context, c.String("listen"))
			if err != nil {
				return err
			}
			if c.Bool("json") {
				_, err := fmt.Fprintln(c.App.Writer, string(raw))
				return fault.Wrap("print", err)
			}
			var v tablet.View
			if err := json.Unmarshal(raw, &v); err != nil {
				return fault.New("read the tablet's answer", fault.TooNew, err, "use the program of the version that runs")
			}
			return fault.Wrap("print", printStatus(c.App.Writer, &v))
		},
	}
}

func askView(ctx context.Context, listen string) ([]byte, error) {
	const op = "ask the running tablet"
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+listen+"/view", nil)
	if err != nil {
		return nil, fault.New(op, fault.Usage, err, "name --listen HOST:PORT as the running tablet has it")
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, fault.New(op, fault.Unavailable, err, "start it with hopperbook-tablet run, or name its --listen")
	}
	raw, err := io.ReadAll(io.LimitReader(answer.Body, 16<<20))
	_ = answer.Body.Close() // it was read
	switch {
	case err != nil:
		return nil, fault.New(op, fault.Unavailable, err, "try again")
	case answer.StatusCode != http.StatusOK:
		return nil, fault.Newf(op, fault.Unavailable, "it answers "+answer.Status, "another program may listen at "+listen)
	}
	return raw, nil
}

func printStatus(w io.Writer, v *tablet.View) error {
	outbox := fmt.Sprintf("%s, %d events wait", v.Outbox.State, v.Outbox.Waiting)
	if v.Outbox.Waiting > 0 && !v.Outbox.OldestAt.IsZero() {
		outbox += ", the oldest of " + v.Outbox.OldestAt.UTC().Format(time.RFC3339)
	}
	if d := v.Outbox.DaysLeft; d != nil {
		outbox += fmt.Sprintf(", room for %.0f days", *d)
	}
	link := v.Link.State
	if !v.Link.Since.IsZero() {
		link += " since " + v.Link.Since.UTC().Format(time.RFC3339)
	}
	if v.Link.State == "off" {
		link += ", not enrolled"
	}
	work := v.Work.State
	if v.Work.Job != "" {
		work += ", job " + string(v.Work.Job) + " on " + v.Work.FieldName
	}
	hopper := "not known"
	if v.Hopper.Kg != nil {
		hopper = fmt.Sprintf("about %.0f kg", *v.Hopper.Kg)
	}
	for _, row := range [][2]string{{"device", string(v.Device) + ", " + v.Role}, {"time", v.At.UTC().Format(time.RFC3339)}, {"receiver", v.GNSS.State},
		{"work", work}, {"spreading", v.Work.Spreading}, {"hopper", hopper}, {"outbox", outbox}, {"link", link}, {"notices", fmt.Sprint(len(v.Notices))}} {
		if _, err := fmt.Fprintf(w, "%-10s %s\n", row[0], row[1]); err != nil {
			return err
		}
	}
	return nil
}
