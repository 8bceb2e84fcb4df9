package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/urfave/cli/v2"
	"golang.org/x/term"

	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/ingest/hub"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func enrolCommand() *cli.Command {
	return &cli.Command{
		Name:      "enrol",
		Usage:     "give a tablet a one-time code, to let it in",
		ArgsUsage: "DEVICE",
		Description: "Prints a line to type on the tablet, and a QR code of the same line to scan. It is good once, and for a day. The line names the\n" +
			"hub, the device, the contractor and the hub's CA; the tablet makes its own key and sends only the public part. A tablet that is\n" +
			"enrolled goes on working until another uses the code: then that one has the name. With a hub that runs this asks the hub,\n" +
			"without one it writes into the book's folder.\n\n" +
			"Examples:\n  hopperbook enrol spreader-3\n  hopperbook enrol spreader-3 --address office.example:4222 --png spreader-3.png",
		Flags: append(bookFlags(),
			&cli.StringFlag{Name: "address", Usage: "`HOST:PORT` at which the tablet reaches the hub", DefaultText: "where the hub was last started"},
			&cli.DurationFlag{Name: "good-for", Usage: "`TIME` until the code expires, like 2h or 72h", Value: hub.DefaultCodeLife},
			&cli.StringFlag{Name: "png", Usage: "draw the QR code into `FILE` too"},
			&cli.BoolFlag{Name: "json", Usage: "print JSON instead"},
		),
		Action: enrolAction,
	}
}

func enrolAction(c *cli.Context) error {
	device, err := oneArgument(c, "device")
	if err != nil {
		return err
	}
	if !schemas.ValidToken(device) {
		return fault.Newf("enrol "+device, fault.Usage, fmt.Sprintf("%q is no device name", device), "use lower-case letters, digits, '-' and '_', as in the machine's register entry")
	}
	if c.Duration("good-for") <= 0 {
		return fault.Newf("enrol "+device, fault.Usage, "a code must be good for some time", "give --good-for like 2h or 72h")
	}
	cfg, err := officeConfig(c)
	if err != nil {
		return err
	}
	var given hub.GivenCode
	ask := office.EnrolParams{Device: schemas.DeviceID(device), GoodForS: c.Duration("good-for").Seconds(), Address: c.String("address")}
	if err := office.AskHub(c.Context, cfg, office.Enrol, ask, &given); err != nil {
		return err
	}
	if name := c.String("png"); name != "" {
		if err := paper.WriteSecret(name, func(w io.Writer) error { return render.QRPNG(w, given.Code) }); err != nil {
			return err
		}
	}
	if c.Bool("json") {
		return printJSON(c, given)
	}
	if err := render.QRText(c.App.Writer, given.Code, isTerminal(c.App.Writer)); err != nil {
		return err
	}
	fmt.Fprintf(c.App.Writer, "\n%s\n\nScan or type this on the tablet of %s. It is good once, until %s, for the hub at %s.\n", given.Code, given.Device, given.ExpiresAt.Local().Format(time.DateTime), given.Address)
	if !given.TLS {
		fmt.Fprintln(c.App.Writer, "The hub listens on this machine alone: a tablet elsewhere cannot reach it. Start it with: hopperbook hub --listen HOST:PORT")
	}
	return nil
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
