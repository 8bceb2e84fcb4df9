package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/office"
	"hopperbook/ingest/hub"
)

func hubCommand() *cli.Command {
	return &cli.Command{
		Name:  "hub",
		Usage: "take events from tablets, write the book, answer questions",
		Description: "Runs until it is stopped (Ctrl-C). Without --nats it brings its own NATS server with JetStream, on this machine only\n" +
			"unless --listen says otherwise. Anything but loopback speaks TLS under a CA of the hub's own, and every connection needs a\n" +
			"key: tablets get one by hopperbook enrol, commands on this machine find theirs in the book's folder.\n" +
			"Prints where it answers when tablets can publish.\n\nExamples:\n  hopperbook hub --book ./book\n  hopperbook hub --book ./book --listen 0.0.0.0:4222",
		Flags: append(bookFlags(),
			&cli.StringFlag{Name: "listen", Usage: "`HOST:PORT` of its own NATS server; port 0 takes any free one", Value: hub.DefaultListen},
			&cli.BoolFlag{Name: "tls", Usage: "TLS on loopback too"}),
		Action: func(c *cli.Context) error {
			if err := noArguments(c); err != nil {
				return err
			}
			cfg, err := officeConfig(c)
			if err != nil {
				return err
			}
			cfg.Listen, cfg.TLS, cfg.Lasting = c.String("listen"), c.Bool("tls"), true
			return office.Run(c.Context, cfg, func(h *hub.Hub) {
				fmt.Fprintf(c.App.Writer, "hub ready: %s, contractor %s, book %s\n", h.URL(), h.Contractor(), cfg.BookDir)
				if at := h.TabletAddress(); at != "" {
					fmt.Fprintf(c.App.Writer, "tablets reach it at %s; let one in with: hopperbook enrol DEVICE\n", at)
				}
			}, nil)
		},
	}
}
