package lift
import ("testing";"os";"fmt";"encoding/json")
func TestZZ(t *testing.T){
 b,_:=os.ReadFile(os.Getenv("F"))
 l,err:=Read(os.Getenv("F"),os.DirFS("/tmp/lt"),b)
 if err!=nil{fmt.Println(err);return}
 j,_:=json.MarshalIndent(l,""," "); fmt.Println(string(j))
}
