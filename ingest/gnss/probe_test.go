package gnss
import ("testing";"os";"path/filepath";"bufio";"encoding/json";"math";"time";"fmt";"strings";"bytes")
type tpvp struct{ Class string; Mode int; Time string; Lat,Lon,Speed *float64}
func TestProbe(t *testing.T){
 dir:=os.Getenv("L")
 logs,_:=filepath.Glob(dir+"/*.log")
 for _,l:=range logs{
  b,_:=os.ReadFile(l)
  fx,rep,err:=Read(bytes.NewReader(b),Options{})
  if rep.Used==0 {continue}
  if err!=nil {t.Error(err)}
  c,_:=os.Open(l+".chk"); sc:=bufio.NewScanner(c); sc.Buffer(nil,1<<20)
  m:=map[int64][]tpvp{}
  for sc.Scan(){ var v tpvp; if !strings.Contains(sc.Text(),`"TPV"`)||json.Unmarshal(sc.Bytes(),&v)!=nil||v.Time==""||v.Lat==nil{continue}
   tm,_:=time.Parse(time.RFC3339,v.Time); m[tm.UnixMilli()]=append(m[tm.UnixMilli()],v)}
  best,bk:=-1,int64(0)
  for k:=int64(-2);k<=2;k++{ n:=0; for _,f:=range fx{ if len(m[f.UnixMilli+k*7168*dayMs])>0{n++}}; if n>best||n==best&&k==0{best=n;bk=k}}
  for i:=range fx{fx[i].UnixMilli+=bk*7168*dayMs}
  any,last,all,no:=0,0,0,0; ours:=map[int64]bool{}; ex:=""; nospeed:=0
  for _,f:=range fx{ ours[f.UnixMilli]=true; vs:=m[f.UnixMilli]; if len(vs)==0{no++;continue}
   okc:=0; lastok:=false
   for _,v:=range vs{ ok:=math.Abs(*v.Lat-f.LatDeg)<1e-6&&math.Abs(*v.Lon-f.LonDeg)<1e-6
    if v.Speed!=nil&&!math.IsNaN(f.SpeedKmh){ ok=ok&&math.Abs(*v.Speed*3.6-f.SpeedKmh)<=0.1}else{nospeed++}
    lastok=ok; if ok{okc++}}
   if okc>0{any++}else if ex=="" { v:=vs[len(vs)-1]; sp:=-1.; if v.Speed!=nil{sp=*v.Speed*3.6}; ex=fmt.Sprintf("%s ours %.8f %.8f %.3f theirs %.8f %.8f %.3f",v.Time,f.LatDeg,f.LonDeg,f.SpeedKmh,*v.Lat,*v.Lon,sp)}
   if lastok{last++}; if okc==len(vs){all++}
  }
  miss:=0; for k:=range m{ if !ours[k]{miss++}}
  fmt.Printf("%-40s k %d fixes %d any %d last %d all %d noTPVtime %d tpvtimes %d missed %d | %+v %s\n",filepath.Base(l),bk,len(fx),any,last,all,no,len(m),miss,rep,ex)
 }
}
