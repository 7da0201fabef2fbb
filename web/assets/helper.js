"use strict";(()=>{
const at=id=>document.getElementById(id);
// A file of the phone goes into the list's field; without this script it can be pasted there.
const file=at("file");
if(file){at("pick").hidden=false;
file.onchange=()=>{const one=file.files[0];if(!one)return;const read=new FileReader();
 read.onload=()=>{at("list").value=read.result;if(!at("name").value)at("name").value=one.name.slice(0,64)};read.readAsText(one)}}
// The phone's clock against the board's: of several round trips the shortest says it best.
const told=at("clock-told");
if(told&&told.dataset.paired&&window.fetch)(async()=>{let best;
 for(let i=0;i<8;i++){const phone=Date.now(),sent=performance.now();
  const board=await(await fetch("/api/v1/clock")).json();
  const half=(performance.now()-sent)/2;
  if(!best||half<best.half)best={half,boot_s:board.boot_s,phone}}
 // Browsers round their clocks: two milliseconds more are not promised away.
 const body=JSON.stringify({boot_s:best.boot_s,phone_unix_ms:best.phone+best.half,within_s:best.half/1000+.002});
 const sent=await fetch("/api/v1/clock",{method:"POST",headers:{"content-type":"application/json"},body});
 if(!sent.ok)return;
 const page=new DOMParser().parseFromString(await(await fetch("/station")).text(),"text/html");
 told.innerHTML=page.getElementById("clock-told").innerHTML})().catch(()=>{})})();
