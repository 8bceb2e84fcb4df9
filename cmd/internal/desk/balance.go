package desk

import (
	"context"
	"encoding/json"
	"io"

	"hopperbook/reports"
	"hopperbook/schemas"
	"hopperbook/schemas/fault"
)

// BalanceParams says whose balance is asked for.
type BalanceParams struct {
	Machine schemas.MachineID `json:"machine"`
}

// balance answers from the kept result.
func (d *Desk) balance(ctx context.Context, params []byte, w io.Writer) error {
	var p BalanceParams
	if err := json.Unmarshal(params, &p); err != nil {
		return fault.New("answer balance", fault.Usage, err, "")
	}
	res, err := d.result(ctx)
	if err != nil {
		return err
	}
	answer, err := reports.NewBalanceAnswer(res, p.Machine)
	return writeUnless(err, w, answer)
}
