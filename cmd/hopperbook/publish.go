package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/office"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func publishCommand() *cli.Command {
	return &cli.Command{
		Name:      "publish",
		Usage:     "send events, one JSON object a line, and wait until the book has them",
		ArgsUsage: "FILE|-",
		Description: "Events that bring no source and sequence are numbered by the file's digest, so publishing a file twice changes nothing.\n" +
			"An event that breaks the contract is kept whole; hopperbook rejects shows it with the reason. Repair it and publish it alone:\n" +
			"a changed file has a new digest, and its other bare lines would be new events.\n\n" +
			"A bare job.started line is made here: it is refused while a safety check of its machine stands failed (guards, PTO shaft\n" +
			"guard, lump-breaker cover, hitch chain, tyres), in the book or in the file, unless --override says why and who answers for it;\n" +
			"that is recorded in the event. Events made elsewhere have happened and are booked; hopperbook reconcile tells of such starts.\n\n" +
			"Example:\n  hopperbook publish day.jsonl\n  hopperbook export events | hopperbook publish - --book ./copy",
		Flags: append(bookFlags(),
			&cli.StringFlag{Name: "override", Usage: "start jobs against a failed safety check, because of `REASON`"},
			&cli.StringFlag{Name: "operator", Usage: "`NAME` of who answers for --override", DefaultText: "the operator of the job.started line"},
			&cli.DurationFlag{Name: "patience", Usage: "give up after `DURATION` without a new confirmation", Value: time.Minute},
			&cli.BoolFlag{Name: "json", Usage: "print JSON instead of a line"}),
		Action: publishAction,
	}
}

func publishAction(c *cli.Context) error {
	name, err := oneArgument(c, "FILE (or - for standard input)")
	if err != nil {
		return err
	}
	cfg, err := officeConfig(c)
	if err != nil {
		return err
	}
	file, release, err := eventFile(name, c.App.Reader)
	if err != nil {
		return err
	}
	defer release()
	bar := newBar("publish")
	done, err := office.Publish(c.Context, cfg, guarded(file, c.String("override"), schemas.Operator(c.String("operator"))), c.Duration("patience"), bar.publish)
	bar.done()
	switch {
	case err != nil:
		return err
	case c.Bool("json"):
		return fault.Wrap("print", json.NewEncoder(c.App.Writer).Encode(done))
	}
	fmt.Fprintf(c.App.Writer, "%d events published and confirmed by the book\n", done.Published)
	if done.NotBooked > 0 {
		fmt.Fprintf(c.App.Writer, "%d of them are kept but not booked; hopperbook rejects says why\n", done.NotBooked)
	}
	return nil
}

// eventFile opens the file; standard input is spooled first, because its
// digest must be known before the first event is numbered.
func eventFile(name string, stdin io.Reader) (file *os.File, done func(), err error) {
	if name != "-" {
		file, err := openFile("publish", name)
		if err != nil {
			return nil, nil, err
		}
		return file, func() { file.Close() }, nil
	}
	spool, err := os.CreateTemp("", "hopperbook-publish-*.jsonl")
	if err != nil {
		return nil, nil, fault.New("publish standard input", fault.Full, err, "make room in the temporary folder (TMPDIR)")
	}
	done = func() { spool.Close(); os.Remove(spool.Name()) }
	if _, err = io.Copy(spool, stdin); err == nil {
		_, err = spool.Seek(0, io.SeekStart)
	}
	if err != nil {
		done()
		return nil, nil, fault.New("publish standard input", fault.Full, err, "make room in the temporary folder (TMPDIR), or publish a file")
	}
	return spool, done, nil
}
