"use strict";(()=>{
const at=id=>document.getElementById(id);let stream,heard=performance.now(),said,keys,tone,down;const due={},was={};
const put=(id,html)=>{const box=at(id);if(!box)return;
 if(id=="spoken"){if(said&&said!=html)box.textContent=html;said=html;return}
 if(was[id]==html){delete due[id];return}
 const on=document.activeElement,inside=box.contains(on);
 // Nothing moves or goes away under a finger.
 if(down||inside&&/^(INPUT|SELECT)$/.test(on.tagName)||box.querySelector("details[open]")){due[id]=html;return}delete due[id];was[id]=html;
 const places=()=>[...box.querySelectorAll("button,summary,a")],nth=inside?places().indexOf(on):-1;
 box.innerHTML=html;if(nth>=0&&places()[nth])places()[nth].focus()};
const late=()=>{const s=Math.round((performance.now()-heard)/1000),box=at("stale");
 box.hidden=s<12;if(s>=12)box.textContent="These figures are "+(s<90?s-s%5+" s":Math.round(s/60)+" min")+" old: no contact with the board. They update by themselves when it is back in reach."};
// Sound and vibration work once somebody has tapped the page; browsers allow neither before.
addEventListener("pointerdown",()=>{down=1;try{tone=tone||new AudioContext();tone.resume()}catch(e){}});
for(const it of["pointerup","pointercancel"])addEventListener(it,()=>setTimeout(()=>{down=0},400));
const ring=()=>{const all=[...document.querySelectorAll("#alarms [data-key]")],now=all.map(e=>e.dataset.key);
 document.title=(all.length?all[0].querySelector("h2").textContent+" · ":"")+document.title.replace(/^.* · (?=.* · )/,"");
 if(keys&&now.some(k=>!keys.includes(k))){if(navigator.vibrate)navigator.vibrate([300,150,300,150,600]);
  if(tone&&tone.state=="running")for(const t of[0,.3,.6]){const o=tone.createOscillator();o.frequency.value=880;o.connect(tone.destination);o.start(tone.currentTime+t);o.stop(tone.currentTime+t+.15)}}
 keys=now};ring();
const open=()=>{if(stream)stream.close();stream=new EventSource("/live");
 stream.onmessage=e=>{heard=performance.now();const parts={...due,...JSON.parse(e.data)};for(const id in parts)put(id,parts[id]);
  const b=document.querySelector("#answer b");if(b)document.title=document.title.replace(/^.* · /,at("answer").querySelector("h1").textContent.trim()+" · ");ring();late()};
 stream.onerror=()=>{if(stream.readyState==2)setTimeout(()=>document.hidden||open(),1e4)}};
if(window.EventSource){open();setInterval(late,5e3);
document.addEventListener("visibilitychange",()=>{if(document.hidden)stream.close();else{heard=performance.now();open()}})}
else setTimeout(()=>location.reload(),3e4)})();
