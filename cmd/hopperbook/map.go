package main

import (
	"context"
	"io"

	"github.com/urfave/cli/v2"

	"hopperbook/cmd/internal/desk"
	"hopperbook/cmd/internal/office"
	"hopperbook/cmd/internal/paper"
	"hopperbook/reports"
	"hopperbook/reports/render"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

func mapCommand() *cli.Command {
	return &cli.Command{
		Name:      "map",
		Usage:     "where the product landed on a field: kg/ha cell by cell, as picture or for a GIS",
		ArgsUsage: "FIELD",
		Description: "FIELD is a field's identifier, or its name where only one has it. The mass of each load is laid along the passes with\n" +
			"the pattern of the machine's last tray test, or evenly across the bout width where there is none. Without a file\n" +
			"the figures alone are printed; --json prints them as JSON. They are of the cells in the field outside its exclusion areas.\n" +
			"The GeoJSON holds the bands between contours at 1, 60, 80, 120 and 140 % of the set rate, each with its area and that of\n" +
			"the cells in it.\n\n" +
			"Examples:\n  hopperbook map north-3 --png north-3.png\n  hopperbook map north-3 --product urea --tif urea.tif --geojson urea.geojson --cell 2",
		Flags: append(tableFlags(),
			&cli.StringFlag{Name: "product", Usage: "`PRODUCT` to map, where several were spread"},
			&cli.Float64Flag{Name: "cell", Usage: "side of a cell in `METRES`", Value: 1},
			&cli.StringFlag{Name: "png", Usage: "draw a map with legend and scale bar into `FILE`"},
			&cli.StringFlag{Name: "tif", Usage: "write the cells as GeoTIFF into `FILE`"},
			&cli.StringFlag{Name: "geojson", Usage: "write the areas between contours of kg/ha as polygons into `FILE`"},
		),
		Action: mapAction,
	}
}

// mapFiles are the forms a map can be written in, by their flag.
var mapFiles = [...]struct {
	flag   string
	render func(io.Writer, reports.MapAnswer) error
}{{"png", render.PNG}, {"tif", render.GeoTIFF}, {"geojson", render.GeoJSON}}

func mapAction(c *cli.Context) error {
	field, err := oneArgument(c, "FIELD")
	if err != nil {
		return err
	}
	ask := desk.MapParams{Field: schemas.FieldID(field), Product: schemas.ProductID(c.String("product")), CellM: c.Float64("cell")}
	if ask.CellM == 0 {
		return fault.Newf("map", fault.Usage, "cells of 0 m", "choose a cell between 0.1 and 100 m")
	}
	for _, f := range mapFiles {
		ask.Cells = ask.Cells || c.String(f.flag) != ""
	}
	var answer reports.MapAnswer
	err = withAsker(c, func(ctx context.Context, asker office.Asker) error {
		return office.AskJSON(ctx, asker, desk.Map, ask, &answer)
	})
	if err != nil {
		return err
	}
	for _, f := range mapFiles {
		if name := c.String(f.flag); name != "" {
			if err := paper.Write(name, func(w io.Writer) error { return f.render(w, answer) }); err != nil {
				return err
			}
		}
	}
	answer.Grid = nil
	return answerOrTable(c, answer, reports.Map)
}
