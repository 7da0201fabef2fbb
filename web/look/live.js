"use strict";(()=>{
const at=id=>document.getElementById(id);let stream,heard=performance.now(),said;const due={};
const put=(id,html)=>{const box=at(id);if(!box)return;
 if(id=="spoken"){if(said&&said!=html)box.textContent=html;said=html;return}
 const on=document.activeElement,inside=box.contains(on);
 if(inside&&/^(INPUT|SELECT)$/.test(on.tagName)||box.querySelector("details[open]")){due[id]=html;return}delete due[id];
 const places=()=>[...box.querySelectorAll("button,summary,a")],nth=inside?places().indexOf(on):-1;
 box.innerHTML=html;if(nth>=0&&places()[nth])places()[nth].focus()};
const late=()=>{const s=Math.round((performance.now()-heard)/1000),box=at("stale");
 box.hidden=s<12;if(s>=12)box.textContent="These figures are "+(s<90?s-s%5+" s":Math.round(s/60)+" min")+" old: no word from the board. They come back by themselves when the phone hears it again."};
const open=()=>{if(stream)stream.close();stream=new EventSource("/live");
 stream.onmessage=e=>{heard=performance.now();const parts={...due,...JSON.parse(e.data)};for(const id in parts)put(id,parts[id]);
  const b=document.querySelector("#answer b");if(b)document.title=document.title.replace(/^.* · /,at("answer").querySelector("h1").textContent.trim()+" · ");late()};
 stream.onerror=()=>{if(stream.readyState==2)setTimeout(()=>document.hidden||open(),1e4)}};
if(window.EventSource){open();setInterval(late,5e3);
document.addEventListener("visibilitychange",()=>{if(document.hidden)stream.close();else{heard=performance.now();open()}})}
else setTimeout(()=>location.reload(),3e4)})();
